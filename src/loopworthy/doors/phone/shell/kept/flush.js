// SQLite asks for fdatasync() after each commit, and the engine's C library answers that by doing nothing. Here it is
// led to fd_sync, which reaches the file system below and flushes. Import this before the engine is loaded.

let led = false;

export function flushesAreLed() {
  return led;
}

for (const name of ["instantiateStreaming", "instantiate"]) {
  const original = WebAssembly[name];
  WebAssembly[name] = (source, imports, ...rest) => {
    const calls = imports && imports.env;
    if (calls && calls.__syscall_fdatasync && calls.fd_sync) {
      const sync = calls.fd_sync;
      calls.__syscall_fdatasync = (descriptor) => -(sync(descriptor) || 0);
      led = true;
    }
    return original.call(WebAssembly, source, imports, ...rest);
  };
}
