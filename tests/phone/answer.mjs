// Asks the engine of a built folder what a record tells: node answer.mjs BUILT_FOLDER WORK_FOLDER
//
// WORK_FOLDER holds record.sqlite, told.py and asked.json ({at, zone}); answer.json is written there.
import fs from "node:fs";
import path from "node:path";
import { pathToFileURL } from "node:url";

const [built, work] = process.argv.slice(2).map((one) => path.resolve(one));
const only = (folder) => path.join(folder, fs.readdirSync(folder)[0]);
const engine = only(path.join(built, "e")), program = only(path.join(built, "v"));
const { loadPyodide } = await import(pathToFileURL(path.join(engine, "pyodide.mjs")));
const lock = /NO_PACKAGES = JSON.stringify\((\{[\s\S]*?\})\);/.exec(fs.readFileSync(path.join(program, "worker.js"), "utf8"));
const python = await loadPyodide({
  indexURL: `${engine}/`, packageBaseUrl: `${engine}/`, lockFileContents: JSON.stringify(new Function(`return ${lock[1]}`)()),
});
python.unpackArchive(new Uint8Array(fs.readFileSync(path.join(program, "app.zip"))).buffer, "zip", { extractDir: "/app" });
python.mountNodeFS("/host", work);
await python.runPythonAsync(`
import json, sys
from pathlib import Path
sys.path[:0] = ["/app", "/host"]
from told import told
from loopworthy.vocabulary.time import Moment
Path("/tmp/record.sqlite").write_bytes(Path("/host/record.sqlite").read_bytes())
asked = json.loads(Path("/host/asked.json").read_text())
Path("/host/answer.json").write_text(await told(Path("/tmp/record.sqlite"), Moment(**asked)))
`);
process.exit(0);
