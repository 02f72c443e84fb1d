/** What the planned deliverables of a roll make of pictures that lie on their side, are mirrored, of fields, of pixels that are not square, or of another shape than their raster, in words, each once. Pure. */
import type { ClipFacts } from '../../media/facts.ts';
import { formatRatio } from '../../media/time/rate.ts';
import { isUpright, turnOf, turnText } from '../../media/upright.ts';
import type { AnyOutcome } from '../../profiles/outcome/any.ts';
import type { PlannedJob } from './types.ts';

export interface ShapesOfRoll {
  /** For people. */
  readonly shape: string;
  readonly profiles: readonly string[];
  readonly clips: readonly string[];
}

export function shapesOfRoll(jobs: readonly Pick<PlannedJob, 'job'>[]): ShapesOfRoll[] {
  const shapes = new Map<string, { profiles: Set<string>; clips: Set<string> }>();
  for (const { job } of jobs)
    for (const { profile, outcome } of job.deliverables)
      for (const shape of shapeTexts(job.facts, outcome)) {
        const group = shapes.get(shape) ?? { profiles: new Set(), clips: new Set() };
        group.profiles.add(profile.name);
        group.clips.add(job.clip.id);
        shapes.set(shape, group);
      }
  return [...shapes].map(([shape, { profiles, clips }]) => ({
    shape,
    profiles: [...profiles],
    clips: [...clips],
  }));
}

export function shapeTexts({ video }: Pick<ClipFacts, 'video'>, outcome: AnyOutcome): string[] {
  const { fieldOrder, pixelAspect } = video;
  const isWoven = fieldOrder === 'top-first' || fieldOrder === 'bottom-first';
  // Masters have whole frames alone.
  const keptFields = 'fieldOrder' in outcome && outcome.fieldOrder !== 'progressive';
  const isSquare = ({ num, den }: typeof pixelAspect): boolean => num === den;
  const made = outcome.pixelAspect;
  const around = paddingText(outcome);
  return [
    ...(isUpright(turnOf(video)) ? [] : [`made upright: ${turnText(turnOf(video))}`]),
    ...(isWoven
      ? [
          `fields, ${fieldOrder === 'top-first' ? 'top' : 'bottom'} first, ${keptFields ? 'kept' : outcome.cadence.split === null ? 'made into one frame each two' : 'made into one frame each'}`,
        ]
      : []),
    ...(isSquare(pixelAspect)
      ? []
      : [
          `pixels of ${formatRatio(pixelAspect)} ${isSquare(made) ? 'made square' : `kept: ${formatRatio(made)}`}`,
        ]),
    ...(around === null ? [] : [around]),
  ];
}

function paddingText(outcome: AnyOutcome): string | null {
  if (outcome.kind !== 'movie') return null;
  const { inset, window } = outcome.proof.framing;
  return inset === null
    ? null
    : `${window.width}x${window.height} in the middle of ${outcome.width}x${outcome.height}, black around it`;
}
