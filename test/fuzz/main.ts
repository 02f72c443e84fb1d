/** Many cases of many formats, one after the other, with a state file: what was done is not done twice. */
import { mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { availableParallelism, tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { damagedCase } from './case.ts';
import type { Fault } from './child.ts';
import { fuzz, FuzzChild } from './run.ts';
import { type FuzzFormat, fuzzFormats, readSeeds, writeSeeds } from './seeds.ts';

export interface FuzzRun {
  /** All when absent. */
  readonly formats?: readonly string[];
  readonly cases: number;
  readonly seed: number;
  /** Only this one; its bytes are kept in `keep` where that is given. */
  readonly case?: number;
  readonly keep?: string;
  /** Where it is written how far this got, after every few cases; null: nowhere. */
  readonly state: string | null;
  readonly say: (line: string) => void;
}

export interface FuzzRow {
  readonly format: FuzzFormat;
  readonly cases: number;
  /** Readings that gave a value. */
  readonly values: number;
  readonly faults: readonly Fault[];
  readonly seconds: number;
}

const SAY_EVERY_MILLISECONDS = 5000;
type State = Partial<Record<string, FuzzRow>>;

function readState(path: string | null): State {
  try {
    return path === null ? {} : (JSON.parse(readFileSync(path, 'utf8')) as State);
  } catch {
    // Not there, or half written by a run that was ended: begun from the first case.
    return {};
  }
}

function writeState(path: string | null, state: State): void {
  if (path === null) return;
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(`${path}.new`, JSON.stringify(state, null, 1));
  renameSync(`${path}.new`, path);
}

/** Throws RangeError for a format that there is not. */
export async function runFuzz(run: FuzzRun): Promise<FuzzRow[]> {
  const unknown = run.formats?.find((name) => !(fuzzFormats as readonly string[]).includes(name));
  if (unknown !== undefined)
    throw new RangeError(`no format ${unknown}; there are ${fuzzFormats.join(', ')}`);
  const formats = fuzzFormats.filter((name) => run.formats === undefined || run.formats.includes(name));
  const folder = mkdtempSync(join(tmpdir(), 'rushlight-fuzz-'));
  const state = readState(run.state);
  const rows = new Map<FuzzFormat, FuzzRow>();
  const left = [...formats];
  const one = async (child: FuzzChild, format: FuzzFormat): Promise<FuzzRow> => {
    const key = `${format} ${run.seed}`;
    const before = run.case === undefined ? state[key] : undefined;
    const begun = performance.now();
    let said = begun;
    const rowOf = (cases: number, values: number, faults: readonly Fault[]): FuzzRow => ({
      format,
      cases,
      values: (before?.values ?? 0) + values,
      faults: [...(before?.faults ?? []), ...faults],
      seconds: (before?.seconds ?? 0) + (performance.now() - begun) / 1000,
    });
    const keep = (row: FuzzRow): void => {
      if (run.case !== undefined) return;
      state[key] = row;
      writeState(run.state, state);
    };
    const from = run.case ?? before?.cases ?? 0;
    const to = run.case === undefined ? run.cases : run.case + 1;
    if (run.case !== undefined && run.keep !== undefined) {
      const seeds = join(folder, format, 'seeds');
      await writeSeeds(format, seeds);
      writeFileSync(run.keep, damagedCase(format, await readSeeds(seeds), run.seed, run.case));
    }
    if (from >= to) return rowOf(from, 0, []);
    const onCase = (cases: number, faults: readonly Fault[], values: number): void => {
      keep(rowOf(cases, values, faults));
      if (performance.now() - said < SAY_EVERY_MILLISECONDS) return;
      said = performance.now();
      run.say(`${format}: case ${cases} of ${to}, ${faults.length} faults`);
    };
    const done = await fuzz({ format, seed: run.seed, from, to, folder, onCase }, child);
    for (const fault of done.faults)
      run.say(
        `FAULT ${format}, seed ${run.seed}, case ${fault.case}, reader “${fault.reader}”: ${fault.what}\n  again: npm run fuzz -- --format ${format} --seed ${run.seed} --case ${fault.case}`,
      );
    const row = rowOf(to, done.values, done.faults);
    keep(row);
    return row;
  };
  /** One child at a time of each. */
  const lane = async (): Promise<void> => {
    const child = new FuzzChild();
    try {
      for (let format = left.shift(); format !== undefined; format = left.shift())
        rows.set(format, await one(child, format));
    } finally {
      child.close();
    }
  };
  try {
    await Promise.all(Array.from({ length: availableParallelism() }, lane));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
  return formats.flatMap((format) => rows.get(format) ?? []);
}
