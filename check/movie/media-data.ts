/** Every byte of the media data belongs to one sample of one track, and every sample lies in it (ISO/IEC 14496-12, 8.1.1, 8.7.5). Pure. */
import type { Fault } from '../container-verdict.ts';
import { place } from './boxes.ts';
import type { Movie } from './read.ts';

/** More would bury the first. */
const MAX_LISTED = 4;

const differs = (found: string, expected: string): Fault => ({
  code: 'samples-not-in-place',
  found,
  expected,
});

interface Extents {
  readonly from: Float64Array;
  readonly to: Float64Array;
  /** Track of a chunk, and its number in the track. */
  readonly track: Uint32Array;
  readonly chunk: Float64Array;
  /** In the order of the file. */
  readonly order: Uint32Array;
}

function extentsOf({ tracks }: Movie): Extents {
  const count = tracks.reduce((sum, { samples }) => sum + (samples?.chunks.count ?? 0), 0);
  const [from, to, chunk] = [new Float64Array(count), new Float64Array(count), new Float64Array(count)];
  const track = new Uint32Array(count);
  let at = 0;
  for (const [index, { samples }] of tracks.entries()) {
    if (samples === null) continue;
    const { chunks } = samples;
    for (let number = 0; number < chunks.count; number += 1, at += 1) {
      from[at] = chunks.from[number] as number;
      to[at] = (chunks.from[number] as number) + (chunks.bytes[number] as number);
      track[at] = index;
      chunk[at] = number;
    }
  }
  const order = Uint32Array.from(from, (_, index) => index).sort(
    (a, b) => (from[a] as number) - (from[b] as number),
  );
  return { from, to, track, chunk, order };
}

/** Chunks in the order of the file must fill the media data from its first byte to its last. */
export function judgeMediaData(movie: Movie): Fault[] {
  const data = movie.file.boxes.find(({ type }) => type === 'mdat');
  if (data === undefined) return [];
  const { from, to, track, chunk, order } = extentsOf(movie);
  const faults: Fault[] = [];
  let more = 0;
  const report = (fault: () => Fault): void => {
    if (faults.length < MAX_LISTED) faults.push(fault());
    else more += 1;
  };
  /** Where the chunk's place is written. */
  const said = (index: number): string => {
    const { box, samples } = movie.tracks[track[index] as number] as Movie['tracks'][number];
    const offsets = samples?.chunks.offsets;
    return offsets === undefined
      ? box.path
      : place(offsets.fields.box.path, offsets.at(chunk[index] as number));
  };
  let covered = data.start;
  for (const index of order) {
    const [start, end] = [from[index] as number, to[index] as number];
    if (start === end) continue;
    if (start < data.start || end > data.end)
      report(() =>
        differs(
          `${said(index)}: samples in bytes ${start} to ${end}`,
          `in the media data, bytes ${data.start} to ${data.end}`,
        ),
      );
    else if (start < covered)
      report(() =>
        differs(
          `${said(index)}: samples from byte ${start} on`,
          `from byte ${covered} on, behind other samples`,
        ),
      );
    else if (start > covered)
      report(() =>
        differs(
          `mdat at byte ${covered}: ${start - covered} bytes that belong to no sample`,
          'every byte in one sample',
        ),
      );
    if (end > covered && end <= data.end) covered = end;
  }
  if (covered < data.end)
    report(() =>
      differs(
        `mdat at byte ${covered}: ${data.end - covered} bytes that belong to no sample`,
        'every byte in one sample',
      ),
    );
  return more === 0 ? faults : [...faults, differs(`${more} more places of the media data`, 'none')];
}
