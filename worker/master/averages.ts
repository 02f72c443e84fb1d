/** Area averages of the frame in a thread's memory (proof/read-averages.ts): lines added up by a kernel where samples lie one behind the other. */
import type { Layout, Samples } from '../../media/colour/formats.ts';
import { type KernelMemory, kernels } from '../../media/kernels/memory.ts';
import { averagesOfLines, cutsOf, type Grid } from '../../proof/area.ts';
import { averagesAsCoded, type ReadAverages, readAverages } from '../../proof/read-averages.ts';

interface Kernel {
  lineOfCells(line: number, bytes: number, cells: number, cuts: number, to: number): void;
}

/** Bytes of a sample of which nothing lies between two; null: another order, or another coding. */
function bytesTogether({ coding, step, shift }: Samples): 1 | 2 | null {
  if (coding === 'u8' && step === 1) return 1;
  return coding === 'u16le' && step === 2 && shift === 0 ? 2 : null;
}

/** `frame` of what comes back: a view of that memory. */
export async function averagesInMemory(
  memory: KernelMemory,
  layout: Layout,
): Promise<(frame: Uint8Array) => ReadAverages> {
  const { kind, bits, samples } = layout;
  if (kind === 'rgb' || samples.some((one) => bytesTogether(one) === null))
    return (frame) => readAverages(frame, layout);
  const { lineOfCells } = await kernels<Kernel>('whole-frames', memory);
  const tables = new Map<string, { readonly cuts: number; readonly to: number }>();

  function tableOf(width: number, { columns }: Grid): { readonly cuts: number; readonly to: number } {
    const name = `${width} ${columns}`;
    const known = tables.get(name);
    if (known !== undefined) return known;
    const { first, last, ofFirst, ofLast } = cutsOf(width, columns);
    const made = { cuts: memory.allocate(16 * columns), to: memory.allocate(8 * columns) };
    const words = memory.i32(made.cuts, 4 * columns);
    for (let cell = 0; cell < columns; cell += 1)
      for (const [at, part] of [first, last, ofFirst, ofLast].entries())
        words[4 * cell + at] = part[cell] as number;
    tables.set(name, made);
    return made;
  }

  // Now: memory that grows while a frame is at work would make stale what others see of it.
  averagesAsCoded(layout, (component, grid) => {
    tableOf((samples[component] as Samples).width, grid);
    return new Uint16Array();
  });
  return ({ byteOffset }) =>
    averagesAsCoded(layout, (component, grid) => {
      const one = samples[component] as Samples;
      const { width, height, first, line: lineBytes } = one;
      const bytes = bytesTogether(one) as 1 | 2;
      const { cuts, to } = tableOf(width, grid);
      const cells = memory.f64(to, grid.columns);
      return averagesOfLines({
        width,
        height,
        bits,
        grid,
        line(y) {
          lineOfCells(byteOffset + first + y * lineBytes, bytes, grid.columns, cuts, to);
          return cells;
        },
      });
    });
}
