/**
 * The files that the ACES Metadata File names for looks: kept beside the reports, each with the digest that was decided, and each with the values of what
 * it says it is. A look is computed again from the file that the settings named, step after step in double precision.
 */
import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { codeOf } from '../../files/error-code.ts';
import { fsPath } from '../../files/names.ts';
import { FindingError } from '../../findings/finding.ts';
import { layout } from '../../ledger/layout.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { colourFileSteps } from '../../media/colour/file.ts';
import type { Step } from '../../media/colour/steps.ts';
import { displaySpaces, fromSpace, toSpace, type WayLook } from '../../media/colour/way.ts';
import type { AmfOutcome } from '../../profiles/master/amf.ts';
import type { LookFiles } from './measured.ts';
import { type AmfFault, clfProbes, judgeTransform, type Probe, type TransformRequest } from './clf-values.ts';

type Looks = Pick<AmfOutcome, 'looks' | 'output'>;

interface Wanted {
  readonly path: string;
  readonly sha256: string;
  /** Values at which it is asked. */
  readonly probes: () => readonly Probe[];
  /** What it must give; null: of a look whose own file cannot be read. */
  readonly wanted: (kept: LookFiles) => TransformRequest['wanted'] | null;
}

const pathOf = (sha256: string): string => layout.transform(sha256, '.clf');
const sourcePath = ({ file, sha256 }: WayLook): string =>
  layout.transform(sha256, file.slice(file.lastIndexOf('.')).toLowerCase());
const sha256Of = (bytes: Buffer): string => createHash('sha256').update(bytes).digest('hex');

/** The look as the settings have it, between the spaces that they say. */
function lookAgain(look: WayLook, kept: LookFiles): TransformRequest['wanted'] | null {
  const bytes = kept.get(sourcePath(look)) ?? null;
  if (bytes === null || sha256Of(bytes) !== look.sha256) return null;
  let steps: Step[];
  try {
    steps = colourFileSteps(look.file, bytes, look.interpolation ?? undefined);
  } catch (error) {
    if (error instanceof FindingError) return null;
    throw error;
  }
  const before = toSpace(look.from);
  const behind = displaySpaces.some((space) => space === look.to) ? null : fromSpace(look.to);
  return (r, g, b) => {
    const looked = evaluate({ steps }, ...evaluate(before, r, g, b));
    return behind === null ? looked : evaluate(behind, ...looked);
  };
}

function wantedOf({ looks, output }: Looks): Wanted[] {
  const wanted: Wanted[] = [];
  const add = (sha256: string, of: Wanted['wanted'], probes = linearProbes): void =>
    void wanted.push({ path: pathOf(sha256), sha256, probes, wanted: of });
  for (const look of looks) {
    if (look.what === 'exposure') {
      const gain = 2 ** look.stops;
      add(look.by.sha256, () => (r, g, b) => [gain * r, gain * g, gain * b]);
    }
    if (look.what === 'look') add(look.by.sha256, (kept) => lookAgain(look.look, kept));
    if (look.what !== 'cdl') continue;
    const { space, to, from } = look;
    if (to.kind === 'file')
      add(to.sha256, () => {
        const steps = toSpace(space);
        return (r, g, b) => evaluate(steps, r, g, b);
      });
    if (from.kind === 'file')
      add(
        from.sha256,
        () => {
          const steps = fromSpace(space);
          return (r, g, b) => evaluate(steps, r, g, b);
        },
        () => clfProbes('coded'),
      );
  }
  const look = output?.look;
  if (output?.by.kind === 'file' && look !== undefined && look !== null)
    add(output.by.sha256, (kept) => lookAgain(look, kept));
  return wanted;
}

/** Everything that `judgeLookFiles` asks for. Throws what is no answer of the file system. */
export async function readLookFiles(rollFolder: string, amf: Looks): Promise<LookFiles> {
  const looks = [
    ...amf.looks.flatMap((look) => (look.what === 'look' ? [look.look] : [])),
    ...(amf.output === null || amf.output.look === null ? [] : [amf.output.look]),
  ];
  const kept = new Map<string, Buffer | null>();
  for (const path of [...wantedOf(amf).map((one) => one.path), ...looks.map(sourcePath)])
    try {
      kept.set(path, await readFile(fsPath(join(rollFolder, path))));
    } catch (error) {
      if (codeOf(error) === '') throw error;
      kept.set(path, null);
    }
  return kept;
}

/** Linear values from below black to far above white: greys, primaries, and points that fill the cube evenly. */
export function linearProbes(): readonly Probe[] {
  const at = (part: number): number => (part < 0.04 ? part - 0.03 : 2 ** (14 * part - 9));
  const root = 1.2207440846057596;
  const spread = Array.from({ length: 300 }, (_, index): Probe => {
    const part = (power: number): number => at(((index + 1) / root ** power + 0.5) % 1);
    return [part(1), part(2), part(3)];
  });
  const greys = Array.from({ length: 65 }, (_, index): Probe => {
    const value = at(index / 64);
    return [value, value, value];
  });
  return [...greys, [1, 0, 0], [0, 1, 0], [0, 0, 1], ...spread];
}

/** Without looks: nothing to hold. */
export function judgeLookFiles(
  amf: Looks,
  kept: LookFiles,
): { readonly measured: string; readonly faults: readonly AmfFault[] } {
  const files = wantedOf(amf);
  const faults: AmfFault[] = [];
  let worst = 0;
  for (const { path, sha256, probes, wanted } of files) {
    const bytes = kept.get(path) ?? null;
    const found = bytes === null ? null : sha256Of(bytes);
    if (bytes === null || found !== sha256) {
      faults.push({
        code: 'amf-transform-differs',
        found: found === null ? `no ${path}` : `${path}: SHA-256 ${found}`,
        expected: `SHA-256 ${sha256}`,
      });
      continue;
    }
    const given = wanted(kept);
    if (given === null) {
      faults.push({
        code: 'amf-transform-differs',
        found: `${path}, and not the look that it was made of`,
        expected: 'the file of the look, beside the reports',
      });
      continue;
    }
    const judged = judgeTransform(bytes, { name: path, probes: probes(), wanted: given });
    worst = Math.max(worst, judged.worst);
    faults.push(...judged.faults);
  }
  return {
    measured:
      files.length === 0
        ? ''
        : `; ${files.length} ${files.length === 1 ? 'file' : 'files'} of looks, at worst ${worst.toFixed(2)} of what is allowed`,
    faults,
  };
}
