/**
 * Reads damaged files, case after case, in a process of its own: a crash, a hang and a memory that grows belong to one case. The
 * number of the case at work stands in a file, so that it is known also when this process is gone at once.
 */
import { openSync, writeSync } from 'node:fs';
import { writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { damagedCase } from './case.ts';
import { type FuzzFormat, readSeeds } from './seeds.ts';
import { faultOf, targets } from './targets.ts';

export interface Order {
  readonly format: FuzzFormat;
  readonly seed: number;
  readonly from: number;
  /** Not included. */
  readonly to: number;
  readonly seeds: string;
  /** For the damaged file. */
  readonly folder: string;
}
export interface Fault {
  readonly case: number;
  readonly reader: string;
  readonly what: string;
}
export type Message = { readonly fault: Fault } | { readonly done: number; readonly values: number };

export const MOST_MEMORY_BYTES = 500 * 1024 * 1024;
/** Of processor time: what a busy machine does not change. */
export const MOST_SECONDS = 5;
const COLLECT_ABOVE_BYTES = 200 * 1024 * 1024;

/** Memory that was asked for and never touched is not resident: what was asked for at once counts as well. */
let largest = 0;
for (const name of ['alloc', 'allocUnsafe', 'allocUnsafeSlow'] as const) {
  const original = Buffer[name].bind(Buffer);
  Buffer[name] = ((size: number, ...rest: []) => {
    largest = Math.max(largest, size);
    return original(size, ...rest);
  }) as typeof original;
}

async function work(order: Order, tell: (message: Message) => void): Promise<void> {
  const { format, seed } = order;
  const seeds = await readSeeds(order.seeds);
  const { extension, readers } = targets[format];
  const path = join(order.folder, `seed${extension}`);
  const place = openSync(join(order.folder, 'case'), 'w');
  let values = 0;
  for (let number = order.from; number < order.to; number += 1) {
    writeSync(place, String(number).padStart(12), 0);
    const bytes = damagedCase(format, seeds, seed, number);
    await writeFile(path, bytes);
    const begun = process.cpuUsage();
    for (const reader of readers) {
      largest = 0;
      const held = process.memoryUsage().arrayBuffers;
      const fault = (what: string): void => tell({ fault: { case: number, reader: reader.name, what } });
      try {
        await reader.read({ bytes, path });
        values += 1;
      } catch (error) {
        const what = faultOf(error, reader);
        if (what !== null) fault(what);
      }
      const more = process.memoryUsage().arrayBuffers - held;
      if (Math.max(largest, more) > MOST_MEMORY_BYTES)
        fault(`memory: ${Math.max(largest, more)} bytes set aside`);
    }
    const { user, system } = process.cpuUsage(begun);
    if (user + system > MOST_SECONDS * 1e6)
      tell({ fault: { case: number, reader: 'all', what: `time: ${(user + system) / 1e6} s` } });
    if (process.resourceUsage().maxRSS * 1024 > MOST_MEMORY_BYTES) {
      // Whose it is shows when the case is read again by a process that has read nothing before.
      tell({ fault: { case: number, reader: 'all', what: 'memory: more than is allowed is in use' } });
      process.exit(0);
    }
    if (process.memoryUsage.rss() > COLLECT_ABOVE_BYTES) global.gc?.();
  }
  tell({ done: order.to, values });
}

// The program of a child, and imported by nothing but for its types.
const tell = (message: Message): void => void process.send?.(message);
process.on('message', (order: Order) => {
  work(order, tell).catch((error: unknown) => {
    console.error(error);
    process.exit(70);
  });
});
process.on('disconnect', () => process.exit(0));
