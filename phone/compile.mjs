// Runs phone/compile.py under the Python that will run in the browser, so that what it compiles fits that Python.
//
//   node compile.mjs FOLDER_OF_PYODIDE WORK_FOLDER
//
// WORK_FOLDER is seen by compile.py as /host.
import {pathToFileURL} from "node:url";
import fs from "node:fs";
import path from "node:path";

const [pyodideFolder, workFolder] = process.argv.slice(2).map((one) => path.resolve(one));
const {loadPyodide} = await import(pathToFileURL(path.join(pyodideFolder, "pyodide.mjs")));
const python = await loadPyodide({indexURL: pyodideFolder});
python.mountNodeFS("/host", workFolder);
python.runPython(fs.readFileSync(new URL("./compile.py", import.meta.url), "utf8"));
