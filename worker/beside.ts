/**
 * How many jobs run on this machine, whoever started their workers: each lays a small file into the machine's state folder while it runs, named
 * after its process. What a dead process left there is taken away by whoever sees it. Nothing is decided by the count.
 */
import { mkdir, readdir, rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { stateFolder } from '../files/machine-id.ts';
import { newToken, ownerOfName, ownerState } from '../ledger/owner.ts';

export interface Beside {
  /** Other jobs, the mean since the begin; null: the folder does not answer. */
  mean(): Promise<number | null>;
  end(): Promise<void>;
}

const LOOK_MILLISECONDS = 5_000;
/** A name of an owner and what makes it this job's. */
const OF_THIS_JOB = /-[0-9a-f]{12}$/;

async function othersIn(folder: string, own: string): Promise<number> {
  let others = 0;
  for (const name of await readdir(folder)) {
    if (name === own) continue;
    const owner = ownerOfName(name.replace(OF_THIS_JOB, ''));
    if (owner === null) continue;
    const state = ownerState(owner);
    if (state === 'lives') others += 1;
    // A process of another space (a container with the same folder) may live: it is neither counted nor removed.
    if (state === 'gone') await rm(join(folder, name), { force: true });
  }
  return others;
}

/** Never throws: a machine whose state folder cannot be written works all the same. */
export async function countBeside(
  folder = join(stateFolder(), 'jobs'),
  now: () => number = () => performance.now(),
): Promise<Beside> {
  const own = newToken();
  /** Jobs times milliseconds. */
  let sum = 0;
  let last: { readonly at: number; readonly others: number } | null = null;
  const began = now();
  const look = async (): Promise<void> => {
    const others = await othersIn(folder, own);
    const at = now();
    // Between two looks as many as there were in the mean of both.
    if (last !== null) sum += ((last.others + others) / 2) * (at - last.at);
    last = { at, others };
  };
  try {
    await mkdir(folder, { recursive: true, mode: 0o700 });
    await writeFile(join(folder, own), '', { flag: 'wx', mode: 0o600 });
    await look();
  } catch {
    return { mean: async () => null, end: async () => undefined };
  }
  const timer = setInterval(() => void look().catch(() => undefined), LOOK_MILLISECONDS);
  timer.unref();
  return {
    async mean() {
      try {
        await look();
      } catch {
        return null;
      }
      const span = (last?.at ?? began) - began;
      return span <= 0 ? (last?.others ?? 0) : sum / span;
    },
    async end() {
      clearInterval(timer);
      await rm(join(folder, own), { force: true }).catch(() => undefined);
    },
  };
}
