// A file system for the engine whose files are those of the browser's own store (origin private file system): what
// SQLite writes goes there at once, and what it flushes is flushed. The names are fixed, for a file can only be opened
// asynchronously and SQLite cannot wait.

const NO_ENTRY = 44, NO_SPACE = 51, NOT_PERMITTED = 63, INVALID = 28, INPUT_OUTPUT = 29; // WASI's numbers
const FULL_AS_A_COUNT = -8; // seen in Chromium 156 as 4294967288
const FOLDER_MODE = 0o40755, FILE_MODE = 0o100644, BLOCK = 4096;
const TRIES = 60, PAUSE_MS = 50; // a worker that ended a moment ago may still hold the files

export class Locked extends Error {}

export function filesAreOffered() {
  return Boolean(
    navigator.storage && navigator.storage.getDirectory && "createSyncAccessHandle" in FileSystemFileHandle.prototype,
  );
}

// Open every file for writing; name -> {handle, exists}.
export async function openFiles(folderName, names) {
  const top = await navigator.storage.getDirectory();
  const folder = await top.getDirectoryHandle(folderName, { create: true });
  const files = new Map();
  try {
    for (const name of names) {
      const file = await folder.getFileHandle(name, { create: true });
      const handle = await held(file);
      files.set(name, { handle, exists: handle.getSize() > 0, changed: Date.now() });
    }
  } catch (error) {
    for (const { handle } of files.values()) handle.close();
    throw error;
  }
  return files;
}

async function held(file) {
  for (let tried = 1; ; tried += 1) {
    try {
      return await file.createSyncAccessHandle();
    } catch (error) {
      if (error.name !== "NoModificationAllowedError" && error.name !== "InvalidStateError") throw error;
      if (tried >= TRIES) throw new Locked(error.message);
      await new Promise((go) => setTimeout(go, PAUSE_MS));
    }
  }
}

// Put the files into the engine's file system at a place of their own.
export function mountFiles(FS, place, files) {
  const refused = (number) => new FS.ErrnoError(number);

  // What the browser's store throws, as a number that SQLite understands.
  const stored = (act) => {
    try {
      return act();
    } catch (error) {
      throw refused(error.name === "QuotaExceededError" ? NO_SPACE : INPUT_OUTPUT);
    }
  };

  // Some browsers do not throw where a disk is full, but hand out the system's negative number as a count of bytes.
  const counted = (bytes, asked) => {
    if (bytes >= 0 && bytes <= asked) return bytes;
    throw refused((bytes | 0) === FULL_AS_A_COUNT ? NO_SPACE : INPUT_OUTPUT);
  };

  const nodeFor = (parent, name, mode) => {
    const node = FS.createNode(parent, name, mode, 0);
    node.node_ops = nodeActs;
    node.stream_ops = streamActs;
    if (FS.isFile(mode)) node.kept = files.get(name);
    return node;
  };

  const resize = (kept, size) => {
    stored(() => kept.handle.truncate(size));
    kept.changed = Date.now();
  };

  const nodeActs = {
    getattr(node) {
      const size = node.kept ? node.kept.handle.getSize() : BLOCK;
      const time = new Date(node.kept ? node.kept.changed : 0);
      return {
        dev: 1, ino: node.id, mode: node.mode, nlink: 1, uid: 0, gid: 0, rdev: 0,
        size, blksize: BLOCK, blocks: Math.ceil(size / BLOCK), atime: time, mtime: time, ctime: time,
      };
    },
    setattr(node, wanted) {
      if (wanted.mode !== undefined) node.mode = wanted.mode;
      if (wanted.size !== undefined && node.kept) resize(node.kept, wanted.size);
    },
    lookup(parent, name) {
      const kept = files.get(name);
      if (!kept || !kept.exists) throw refused(NO_ENTRY);
      return nodeFor(parent, name, FILE_MODE);
    },
    mknod(parent, name, mode) {
      const kept = files.get(name);
      if (!kept || !FS.isFile(mode)) throw refused(NOT_PERMITTED);
      kept.exists = true;
      return nodeFor(parent, name, mode);
    },
    unlink(parent, name) {
      const kept = files.get(name);
      resize(kept, 0);
      stored(() => kept.handle.flush());
      kept.exists = false;
    },
    readdir() {
      return [".", "..", ...[...files].filter(([, kept]) => kept.exists).map(([name]) => name)];
    },
    rename() { throw refused(NOT_PERMITTED); },
    rmdir() { throw refused(NOT_PERMITTED); },
    symlink() { throw refused(NOT_PERMITTED); },
  };

  const streamActs = {
    open() {},
    close(stream) {
      if (stream.node.kept) stored(() => stream.node.kept.handle.flush());
    },
    read(stream, buffer, offset, length, at) {
      return counted(stored(() => stream.node.kept.handle.read(buffer.subarray(offset, offset + length), { at })), length);
    },
    write(stream, buffer, offset, length, at) {
      const kept = stream.node.kept;
      const written = counted(stored(() => kept.handle.write(buffer.subarray(offset, offset + length), { at })), length);
      if (written < length) throw refused(NO_SPACE);
      kept.changed = Date.now();
      return written;
    },
    llseek(stream, offset, whence) {
      let place = offset;
      if (whence === 1) place += stream.position;
      else if (whence === 2) place += stream.node.kept.handle.getSize();
      if (place < 0) throw refused(INVALID);
      return place;
    },
    fsync(stream) {
      if (stream.node.kept) stored(() => stream.node.kept.handle.flush());
      return 0;
    },
  };

  FS.mkdirTree(place);
  FS.mount({ mount: () => nodeFor(null, "/", FOLDER_MODE) }, {}, place);
}
