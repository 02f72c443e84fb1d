/**
 * The sample tables of a track (ISO/IEC 14496-12, 8.6 and 8.7): how many samples there are, how long each is shown, how many bytes it has and
 * where. What grows with what a table claims instead of with its bytes is never set aside.
 */
import { type Box, MovieError, type Part, place } from './boxes.ts';
import { columns, type TableName } from './layouts.ts';
import { type Fields, readFields } from './fields.ts';

/** Rows of a table, read where they lie. */
export interface Table {
  readonly fields: Fields;
  readonly rows: number;
  /** Byte of the file where a row begins. */
  at(row: number): number;
  value(row: number, column: number): number;
}

/** Throws MovieError for a table that is not as long as its number of entries says. */
export function readTable({ bytes, base }: Part, box: Box, name: TableName): Table {
  const fields = readFields({ bytes, base }, box, name);
  const widths: readonly number[] = columns[name];
  const wide = widths.reduce((sum, width) => sum + width, 0);
  const rows = fields.values.get('entries')?.value as number;
  if (fields.end + rows * wide !== box.end)
    throw new MovieError(
      `${place(box.path, box.at)} says ${rows} entries of ${wide} bytes, and has ${box.end - fields.end} bytes for them`,
    );
  return {
    fields,
    rows,
    at: (row) => fields.end + row * wide,
    value: (row, column) => {
      const at = fields.end - base + row * wide + 4 * column;
      return widths[column] === 8 ? Number(bytes.readBigUInt64BE(at)) : bytes.readUInt32BE(at);
    },
  };
}

export interface Sizes {
  readonly fields: Fields;
  readonly count: number;
  /** Of every sample; null: they differ. */
  readonly all: number | null;
  of(sample: number): number;
}

export function readSizes(part: Part, box: Box): Sizes {
  const fields = readFields(part, box, 'stsz');
  const [all, count] = ['size of all', 'samples'].map((name) => fields.values.get(name)?.value as number) as [
    number,
    number,
  ];
  const listed = all === 0 ? 4 * count : 0;
  if (fields.end + listed !== box.end)
    throw new MovieError(
      `${place(box.path, box.at)} says ${count} samples, and has ${box.end - fields.end} bytes for their sizes`,
    );
  return {
    fields,
    count,
    all: all === 0 ? null : all,
    of: (sample) => (all === 0 ? part.bytes.readUInt32BE(fields.end - part.base + 4 * sample) : all),
  };
}

/** Samples of a chunk lie one behind the other. */
export interface Chunks {
  readonly count: number;
  /** By chunk: byte of the file, bytes, and number of the first sample in it. */
  readonly from: Float64Array;
  readonly bytes: Float64Array;
  readonly firstSample: Float64Array;
  /** Box that places the chunks, and where its entry of a chunk lies. */
  readonly offsets: Table;
}

export interface SampleTables {
  readonly times: Table;
  readonly composition: Table | null;
  readonly sync: Table | null;
  readonly runs: Table;
  readonly sizes: Sizes;
  readonly chunks: Chunks;
  /** Sums: ticks of the track, and bytes. */
  readonly ticks: number;
  readonly bytes: number;
  /** Samples that the times speak of, and the offsets of composition; null without. */
  readonly timed: number;
  readonly composed: number | null;
}

function sum(table: Table, of: (row: number) => number, what: string): number {
  let total = 0;
  for (let row = 0; row < table.rows; row += 1) total += of(row);
  if (!Number.isSafeInteger(total))
    throw new MovieError(`${place(table.fields.box.path, table.fields.box.at)}: ${what} ${total}`);
  return total;
}

function chunksOf(runs: Table, sizes: Sizes, offsets: Table): Chunks {
  const count = offsets.rows;
  const [from, bytes, firstSample] = [
    new Float64Array(count),
    new Float64Array(count),
    new Float64Array(count),
  ];
  const where = place(runs.fields.box.path, runs.fields.box.at);
  let sample = 0;
  let run = 0;
  for (let chunk = 0; chunk < count; chunk += 1) {
    while (run + 1 < runs.rows && runs.value(run + 1, 0) <= chunk + 1) run += 1;
    if (runs.rows === 0 || runs.value(run, 0) > chunk + 1)
      throw new MovieError(`${where} says nothing of chunk ${chunk + 1}`);
    const samples = runs.value(run, 1);
    from[chunk] = offsets.value(chunk, 0);
    firstSample[chunk] = sample;
    if (sample + samples > sizes.count)
      throw new MovieError(
        `${where} puts ${sample + samples} samples into ${chunk + 1} chunks, there are ${sizes.count}`,
      );
    if (sizes.all !== null) bytes[chunk] = samples * sizes.all;
    else {
      let size = 0;
      for (let index = 0; index < samples; index += 1) size += sizes.of(sample + index);
      bytes[chunk] = size;
    }
    sample += samples;
  }
  if (sample !== sizes.count)
    throw new MovieError(`${where} puts ${sample} samples into chunks, there are ${sizes.count}`);
  return { count, from, bytes, firstSample, offsets };
}

/** Runs of ISO/IEC 14496-12, 8.7.4: first chunks rise. A run of a chunk that is not there says nothing, and nobody writes it. */
function holdRuns(runs: Table, chunks: number): void {
  for (let row = 0; row < runs.rows; row += 1) {
    const first = runs.value(row, 0);
    const before = row === 0 ? 0 : runs.value(row - 1, 0);
    if (first <= before || first > chunks || (row === 0 && first !== 1))
      throw new MovieError(
        `${place(runs.fields.box.path, runs.at(row))}: a run from chunk ${first} on, of ${chunks}`,
      );
  }
}

/** Null where one of the tables is missing. Throws MovieError for tables that contradict each other. */
export function readSamples(part: Part, table: Box | undefined): SampleTables | null {
  const find = (type: string): Box | undefined => table?.children.find((box) => box.type === type);
  const [times, runs, sizes] = [find('stts'), find('stsc'), find('stsz')];
  const [short, long] = [find('stco'), find('co64')];
  const offsets = short ?? long;
  if (times === undefined || runs === undefined || sizes === undefined || offsets === undefined) return null;
  const [composition, sync] = [find('ctts'), find('stss')];
  const timesTable = readTable(part, times, 'stts');
  const runsTable = readTable(part, runs, 'stsc');
  const sizesTable = readSizes(part, sizes);
  const offsetsTable = readTable(part, offsets, short === undefined ? 'co64' : 'stco');
  holdRuns(runsTable, offsetsTable.rows);
  const chunks = chunksOf(runsTable, sizesTable, offsetsTable);
  const compositionTable = composition === undefined ? null : readTable(part, composition, 'ctts');
  return {
    times: timesTable,
    composition: compositionTable,
    sync: sync === undefined ? null : readTable(part, sync, 'stss'),
    runs: runsTable,
    sizes: sizesTable,
    chunks,
    ticks: sum(timesTable, (row) => timesTable.value(row, 0) * timesTable.value(row, 1), 'a length of'),
    bytes: chunks.bytes.reduce((total, bytes) => total + bytes, 0),
    timed: sum(timesTable, (row) => timesTable.value(row, 0), 'a number of samples of'),
    composed:
      compositionTable === null
        ? null
        : sum(compositionTable, (row) => compositionTable.value(row, 0), 'a number of samples of'),
  };
}

/** Place of the first sample; null without one. */
export function firstSample({
  chunks,
  sizes,
}: SampleTables): { readonly at: number; readonly bytes: number } | null {
  return sizes.count === 0 || chunks.count === 0
    ? null
    : { at: chunks.from[0] as number, bytes: sizes.of(0) };
}

/** Every sample with its place, in the order of the track. */
export function* samplesOf({
  chunks,
  sizes,
}: SampleTables): Generator<{ readonly at: number; readonly bytes: number }> {
  for (let chunk = 0; chunk < chunks.count; chunk += 1) {
    const next = chunk + 1 < chunks.count ? (chunks.firstSample[chunk + 1] as number) : sizes.count;
    let at = chunks.from[chunk] as number;
    for (let sample = chunks.firstSample[chunk] as number; sample < next; sample += 1) {
      const bytes = sizes.of(sample);
      yield { at, bytes };
      at += bytes;
    }
  }
}
