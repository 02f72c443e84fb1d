/**
 * Which files are frames of one numbered sequence: same folder, same letters before and after the number. Pure, on
 * names and sizes alone; everything that does not fit is a value for the caller to judge.
 */

export interface ListedFile {
  /** `/` between parts. */
  readonly path: string;
  readonly bytes: number;
}

export interface NumberedGroup {
  readonly folder: string;
  readonly prefix: string;
  readonly suffix: string;
  /** Digits of the zero-padded number; 0 when numbers are not padded. */
  readonly padding: number;
  /** The frames without a gap from the first on, in order: what can be read as one sequence. */
  readonly run: readonly { readonly number: number; readonly file: ListedFile }[];
  /** Files of the group beyond the first gap, duplicates, and numbers written in another way. */
  readonly rest: readonly ListedFile[];
  /** Missing numbers between the first and the last, as inclusive ranges. */
  readonly gaps: readonly { readonly from: number; readonly to: number }[];
  /** Files that share a number, all of them. */
  readonly duplicates: readonly { readonly number: number; readonly files: readonly string[] }[];
  /** Files whose number is written in another way than `padding` says. */
  readonly otherwiseWritten: readonly string[];
}

/** The last run of digits before the extension is the number. */
const NUMBERED = /^(.*?)(\d{1,15})(\D*\.(?:dpx|exr|tiff?|dng))$/is;
/** The same in names that a declared decoder takes: an extension of any letters, or none. */
const NUMBERED_OTHERWISE = /^(.*?)(\d{1,15})(\D*(?:\.[^.]*[^.\d][^.]*)?)$/is;

export function isStill(path: string): boolean {
  return /\.(?:dpx|exr|tiff?|dng)$/i.test(path);
}

interface Numbered {
  readonly file: ListedFile;
  readonly digits: string;
  readonly number: number;
}

/** Zero-padded numbers have one length; numbers longer than that need no zeros. */
function paddingOf(frames: readonly Numbered[]): number {
  const counts = new Map<number, number>();
  for (const { digits } of frames) {
    if (digits.length > 1 && digits.startsWith('0'))
      counts.set(digits.length, (counts.get(digits.length) ?? 0) + 1);
  }
  const common = [...counts].sort((a, b) => b[1] - a[1] || a[0] - b[0])[0];
  if (common !== undefined) return common[0];
  const lengths = new Set(frames.map(({ digits }) => digits.length));
  return lengths.size === 1 ? (frames[0] as Numbered).digits.length : 0;
}

function describeGroup(
  folder: string,
  prefix: string,
  suffix: string,
  frames: readonly Numbered[],
): NumberedGroup {
  const padding = paddingOf(frames);
  const written = (number: number): string => String(number).padStart(padding, '0');
  const byNumber = new Map<number, Numbered[]>();
  for (const frame of frames) byNumber.set(frame.number, [...(byNumber.get(frame.number) ?? []), frame]);
  const numbers = [...byNumber.keys()].sort((a, b) => a - b);
  const run: { number: number; file: ListedFile }[] = [];
  const taken = new Set<ListedFile>();
  for (const number of numbers) {
    const usual = byNumber.get(number)?.find((frame) => frame.digits === written(number));
    const before = run[run.length - 1];
    // Frames before the first one written in the usual way are judged, not read.
    if (usual === undefined) {
      if (before === undefined) continue;
      break;
    }
    if (before !== undefined && number !== before.number + 1) break;
    run.push({ number, file: usual.file });
    taken.add(usual.file);
  }
  const gaps: { from: number; to: number }[] = [];
  for (let index = 1; index < numbers.length; index += 1) {
    const [before, after] = [numbers[index - 1] as number, numbers[index] as number];
    if (after > before + 1) gaps.push({ from: before + 1, to: after - 1 });
  }
  return {
    folder,
    prefix,
    suffix,
    padding,
    run,
    rest: frames.filter((frame) => !taken.has(frame.file)).map((frame) => frame.file),
    gaps,
    duplicates: [...byNumber]
      .filter(([, same]) => same.length > 1)
      .map(([number, same]) => ({ number, files: same.map((frame) => frame.file.path).sort() })),
    otherwiseWritten: frames
      .filter((frame) => frame.digits !== written(frame.number))
      .map((frame) => frame.file.path)
      .sort(),
  };
}

/** Groups stills, and frames that a declared decoder takes; `single` are stills without a number. Order of the answer does not depend on the order of the list. */
export function groupStills(files: readonly ListedFile[]): { groups: NumberedGroup[]; single: ListedFile[] } {
  const groups = new Map<string, { folder: string; prefix: string; suffix: string; frames: Numbered[] }>();
  const single: ListedFile[] = [];
  for (const file of files) {
    const slash = file.path.lastIndexOf('/');
    const folder = slash < 0 ? '' : file.path.slice(0, slash);
    // Lazy up to the last number: the suffix holds no digit before its extension, so the engine ends at the last run of digits.
    const parts = (isStill(file.path) ? NUMBERED : NUMBERED_OTHERWISE).exec(file.path.slice(slash + 1));
    // A run of more than 15 digits counts no frames, and would not be exact.
    if (parts === null || /\d$/.test(parts[1] as string)) {
      single.push(file);
      continue;
    }
    const [prefix, digits, suffix] = [parts[1], parts[2], parts[3]] as [string, string, string];
    const key = JSON.stringify([folder, prefix, suffix]);
    const group = groups.get(key) ?? { folder, prefix, suffix, frames: [] };
    group.frames.push({ file, digits, number: Number(digits) });
    groups.set(key, group);
  }
  const described = [...groups]
    .sort((a, b) => (a[0] < b[0] ? -1 : 1))
    .map(([, group]) =>
      describeGroup(
        group.folder,
        group.prefix,
        group.suffix,
        group.frames.sort((a, b) => (a.file.path < b.file.path ? -1 : 1)),
      ),
    );
  return { groups: described, single };
}
