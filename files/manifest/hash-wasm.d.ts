/** One algorithm of hash-wasm by itself: the package as a whole takes four times as long to load, and carries all the others. */
declare module 'hash-wasm/dist/xxhash128.umd.min.js' {
  const alone: Pick<typeof import('hash-wasm'), 'createXXHash128'>;
  export = alone;
}
