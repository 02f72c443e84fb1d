/** The clips of a day as a cut can name them, and the stretches of them that a pull makes in their place. Pure. */
import { basename } from 'node:path';
import type { Clip } from '../../ledger/clip.ts';
import { decideOutcome } from '../../profiles/outcome/any.ts';
import { reelOfSource } from '../../profiles/outcome/reel.ts';
import { earlierField } from '../../media/facts.ts';
import type { AnyProfile } from '../../profiles/schema.ts';
import { sameRatio, timecodeBase } from '../../media/time/rate.ts';
import type { GateClip } from '../gate/input.ts';
import type { PullClip, PullRange } from './form.ts';

export interface ClipsOfRoll {
  readonly roll: string;
  readonly clips: readonly GateClip[];
}

/** Those that could be measured. Labels and rate are those of the master: proxies of the same settings have them too. */
export function pullClips(
  rolls: readonly ClipsOfRoll[],
  { day, profile }: { readonly day: string; readonly profile: AnyProfile },
): PullClip[] {
  return rolls.flatMap(({ roll, clips }) =>
    clips.flatMap(({ clip, facts }): PullClip[] => {
      if (facts === null || facts.video.frames === 0) return [];
      const { outcome } = decideOutcome({ day, roll, clip, facts, profile });
      const rate = outcome?.rate ?? facts.video.rate;
      const isOfFields = earlierField(facts.video) !== null;
      const reels = [reelOfSource(facts, roll), facts.reel, outcome?.reel ?? null, roll];
      return [
        {
          roll,
          clip: clip.id,
          name: clip.name,
          files: filesOf(clip),
          reels: [...new Set(reels.filter((reel): reel is string => reel !== null && reel !== ''))],
          frames: facts.video.frames,
          start: outcome?.timecode ?? facts.timecode ?? { frame: 0, base: timecodeBase(rate), drop: false },
          rate,
          ...(isOfFields ? { fields: true } : {}),
          ...(isOfFields && !sameRatio(rate, facts.video.rate) ? { slowed: true } : {}),
        },
      ];
    }),
  );
}

function filesOf({ place }: Clip): string[] {
  if (place.kind === 'movie') return [basename(place.file)];
  if (place.kind === 'spanned') return place.parts.map(({ file }) => basename(file));
  const folder = basename(place.folder);
  const prefix = place.prefix.replace(/[._-]+$/, '');
  return [...new Set([prefix, folder])].filter((name) => name !== '');
}

/** In the place of a roll's clips the stretches of them that are made, each a clip of its own; and the clips that the cut does not use. */
export function stretched(
  { roll, clips }: ClipsOfRoll,
  ranges: readonly PullRange[],
  day: string,
): { readonly clips: GateClip[]; readonly unused: Clip[] } {
  const taken = clips.flatMap((entry) =>
    ranges
      .filter((range) => range.roll === roll && range.clip === entry.clip.id)
      .map((range) => stretchOf(entry, range, day)),
  );
  const used = new Set(ranges.filter((range) => range.roll === roll).map(({ clip }) => clip));
  return { clips: taken, unused: clips.flatMap(({ clip }) => (used.has(clip.id) ? [] : [clip])) };
}

/** Unique in the roll: stretches of a clip do not overlap. */
export const stretchId = ({ clip, start, frames }: PullRange): string =>
  `${clip}.${start}-${start + frames - 1}`;

function stretchOf(entry: GateClip, range: PullRange, day: string): GateClip {
  const { start, frames } = range;
  const id = stretchId(range);
  const { stills: _, ...settings } = entry.settings;
  return {
    ...entry,
    clip: { ...entry.clip, id, stretch: { start, frames, day } },
    // A pull is for finishing: pictures to look at lie beside what was cut with.
    settings,
    findings: entry.findings.map((item) => ({ ...item, clip: id })),
  };
}
