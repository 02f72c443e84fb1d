/** The part of the WebAssembly JavaScript Interface (W3C) that is used here; the compiler has it with the browser's types only. */
declare namespace WebAssembly {
  class Memory {
    constructor(limits: { initial: number; maximum?: number });
    readonly buffer: ArrayBuffer;
    /** By pages of 64 KiB; gives the size before. */
    grow(pages: number): number;
  }
  class Module {
    private constructor();
  }
  interface Instance {
    readonly exports: object;
  }
  function compile(bytes: Uint8Array): Promise<Module>;
  function instantiate(module: Module, imports: Record<string, Record<string, Memory>>): Promise<Instance>;
}
