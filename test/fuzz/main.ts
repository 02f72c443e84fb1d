/** Many cases of many formats, one after the other, with a state file: what was done is not done twice. */
import { mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { type Fault, damagedCase } from './child.ts';
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
  const child = new FuzzChild();
  const rows: FuzzRow[] = [];
  try {
    for (const format of formats) {
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
      const from = run.case ?? before?.cases ?? 0;
      const to = run.case === undefined ? run.cases : run.case + 1;
      if (run.case !== undefined && run.keep !== undefined) {
        const seeds = join(folder, format, 'seeds');
        await writeSeeds(format, seeds);
        writeFileSync(run.keep, damagedCase(format, await readSeeds(seeds), run.seed, run.case));
      }
      const done =
        from >= to
          ? { values: 0, faults: [] }
          : await fuzz(
              {
                format,
                seed: run.seed,
                from,
                to,
                folder,
                onCase: (cases, faults, values) => {
                  if (run.case === undefined)
                    writeState(run.state, { ...state, [key]: rowOf(cases, values, faults) });
                  if (performance.now() - said < SAY_EVERY_MILLISECONDS) return;
                  said = performance.now();
                  run.say(`${format}: case ${cases} of ${to}, ${faults.length} faults`);
                },
              },
              child,
            );
      const row = rowOf(Math.max(from, to), done.values, done.faults);
      if (run.case === undefined) state[key] = row;
      rows.push(row);
      for (const fault of done.faults)
        run.say(
          `FAULT ${format}, seed ${run.seed}, case ${fault.case}, reader “${fault.reader}”: ${fault.what}\n  again: npm run fuzz -- --format ${format} --seed ${run.seed} --case ${fault.case}`,
        );
    }
  } finally {
    child.close();
    rmSync(folder, { recursive: true, force: true });
  }
  return rows;
}
