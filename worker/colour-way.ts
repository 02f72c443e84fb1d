/** Colour ways of a job's movies: their tables, what compares the pictures before and behind them, and what is said of it. */
import { colourWayReport, type ColourWaySeen } from '../check/colour-way.ts';
import type { WhileMadeReport } from '../check/while-made.ts';
import type { Job, MovieWork } from '../ledger/job.ts';
import { readInput, readLook } from '../ledger/transform.ts';
import {
  bakeTable,
  SCALED_END,
  sizeOf,
  type TableFiles,
  tableFiles,
  type WayTable,
} from '../media/colour/shown/table.ts';
import { differenceOf } from '../media/colour/output/itp.ts';
import type { StandardRange } from '../media/colour/output/placed-sdr.ts';
import { placing, type Showing, showingOf } from '../media/colour/shown/way.ts';
import { transformTo } from '../media/colour/input.ts';
import type { ColourTransform } from '../media/colour/steps.ts';
import { ap0OfAcescct, SHOWN_BITS } from '../media/colour/acescct.ts';
import { canonicalJson } from '../profiles/hash.ts';
import { factsSeen } from '../profiles/shown/decide.ts';
import type { Shown } from '../profiles/shown/schema.ts';
import { uprightSize } from '../media/facts.ts';
import { type TableError, tableError } from '../proof/colour-way/table-error.ts';
import { ThinComparer } from '../proof/colour-way/thin.ts';
import { subjectOf } from './claim.ts';

export interface BakedWay {
  readonly table: WayTable;
  readonly files: TableFiles;
  readonly error: TableError;
}

/** A table takes about a second: a worker keeps those of its last clips. */
const KEPT = 4;
const kept = new Map<string, BakedWay>();

/** Throws what reading a transform throws. */
export async function bakedWay(deliveryFolder: string, shown: Shown): Promise<BakedWay> {
  const key = canonicalJson(
    shown.from === 'recorded' ? shown : { ...shown, linearisation: null, size: null },
  );
  const known = kept.get(key);
  if (known !== undefined) {
    // Used last, dropped last.
    kept.delete(key);
    kept.set(key, known);
    return known;
  }
  const { output } = shown;
  const showing = await showingFor(deliveryFolder, shown);
  const end = shown.from === 'recorded' ? SCALED_END : 1;
  const table = bakeTable({
    showing,
    display: shown.display,
    end,
    size: sizeOf(output !== null && 'rendering' in output ? output.rendering.version : 'aces-2'),
  });
  const error = tableError(table, showing, end, differenceOf(shown.display));
  const baked = { table, files: tableFiles(table), error };
  kept.set(key, baked);
  for (const oldest of kept.keys()) {
    if (kept.size <= KEPT) break;
    kept.delete(oldest);
  }
  return baked;
}

/** Of R'G'B' that the table takes. Throws what reading a transform throws. */
export async function showingFor(deliveryFolder: string, { way, output, ...shown }: Shown): Promise<Showing> {
  if (output !== null && 'placed' in output)
    return placing(shown.from === 'recorded' ? AS_IT_IS : recordedOfAcescct(output.placed), output);
  return showingOf({
    input: shown.from === 'recorded' ? await readInput(deliveryFolder, shown.input) : ap0OfAcescct,
    way,
    look: way.look === null ? null : await readLook(deliveryFolder, way.look),
    output,
  });
}
const AS_IT_IS: ColourTransform = { steps: [] };
/** Frames that were developed one by one by this name, back to what they were recorded as. */
const recordedOfAcescct = (name: StandardRange): ColourTransform => ({
  steps: [...ap0OfAcescct.steps, ...transformTo({ name }).steps],
});

export const thinComparer = ({ facts }: Job, shown: Shown, { table }: BakedWay): ThinComparer =>
  new ThinComparer({ size: uprightSize(factsSeen(facts, shown).video), table, bits: SHOWN_BITS });

/** null: its pictures stay as recorded. */
export function colourWayOf(
  job: Job,
  { profile, outcome }: MovieWork,
  seen: ColourWaySeen | null,
): WhileMadeReport | null {
  if (outcome.shown === null) return null;
  return colourWayReport(seen, job.span.count, { ...subjectOf(job), profile: profile.name });
}
