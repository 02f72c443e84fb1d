/** Case number n of a campaign: clip, profiles, fault and its places, drawn from the seed and the number alone. */
import { createHash } from 'node:crypto';
import { statSync } from 'node:fs';
import { basename, dirname, join } from 'node:path';
import type { Job } from '../../ledger/job.ts';
import { toolchainOf } from '../../ledger/toolchain.ts';
import { packageFolder } from '../../files/installation.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { loadProfiles } from '../../profiles/load.ts';
import { outcomeOf } from '../../profiles/outcome/decide.ts';
import { isMovie, type LoadedProfile, type Profile } from '../../profiles/schema.ts';
import { drawFault, type FaultName, faultNames, isApt } from '../faults/fault.ts';
import { gradedNames } from '../faults/graded.ts';
import type { Operation } from '../faults/operation.ts';
import { type Random, randomOf } from '../faults/random.ts';
import { factsOf, mediaTools } from '../support/make.ts';
import {
  type ClipName,
  type Form,
  type FormName,
  formNames,
  forms,
  makeClip,
  nameOf,
  type PictureName,
  pictureNames,
  plainFormNames,
  plainPictureNames,
} from './material.ts';

export interface Case {
  /** `17`, or `clean-17`. */
  readonly id: string;
  /** null: a clean case. */
  readonly fault: string | null;
  readonly clip: string;
  readonly profiles: readonly string[];
  readonly operation: Operation;
  readonly job: Job;
}

const small = ['small-vc3', 'small-h264'].map((name) =>
  join(packageFolder, 'test', 'fixtures', 'profiles', `${name}.yaml`),
);
const own = ['small-rdd36', 'fitted-vc3', 'filled-h264', 'full-vc3'].map((name) =>
  join(packageFolder, 'test', 'campaign', 'profiles', `${name}.yaml`),
);
const builtIn = ['editorial-vc3', 'editorial-rdd36', 'review-h264'];
/** One case in so many is made in a built-in profile, whose pictures are large, or of a large clip. */
const LARGE_ONE_IN = 12;
const MOST_TRIES = 1_000;

/** Faults that only some forms can have: asked before a clip is made for nothing. */
const forForms: Partial<Record<FaultName, (form: Form) => boolean>> = {
  'wrong-field-order': ({ interlaced }) => interlaced !== 'no',
  'drop-flag-lost': ({ timecode }) => timecode.includes(';'),
  'wrong-rate': ({ rate }) => rate.endsWith('/1001'),
  'source-rate-kept': ({ timing }) => timing?.offSpeed !== undefined,
  'timecode-base-wrong': ({ timing }) => timing?.offSpeed !== undefined,
  'grid-off-by-one': ({ varies }) => varies === true,
  'audio-stretched': ({ timing }) => timing?.offSpeedAudio === 'real-time',
  'tracks-swapped': ({ audio }) => audio.length > 1 && audio[0] === audio[1],
  'channels-swapped': ({ audio }) => audio.includes(2),
  'track-lost': ({ audio }) => audio.length > 0,
  'audio-late': ({ audio }) => audio.length > 0,
  'audio-silent': ({ audio }) => audio.length > 0,
  'polarity-turned': ({ audio }) => audio.length > 0,
};

/** Faults that come in sizes are promised to be found in pictures that have detail, colours and motion: in a grey one there is nothing to blur. */
const RICH: readonly PictureName[] = ['chart', 'zoom', 'pan', 'slow-zoom', 'cuts'];

/** A case to be drawn. */
export interface Deal {
  readonly id: string;
  readonly fault: string | null;
  /** Whether a held case is held for what the fault is. */
  isApt(operation: Operation, codes: readonly string[]): boolean;
  /** Makes the material where it is not there yet. */
  draw(): Promise<Case>;
}

export interface Dealer {
  /** A case with the fault that is due at this number; every fault comes once before any comes again. */
  fault(number: number): Deal;
  clean(number: number): Deal;
}

/** `folder`: where the material lies, made as it is needed. `only`: this fault in every case. */
export async function dealer(seed: number, folder: string, only?: FaultName): Promise<Dealer> {
  const profiles = (await loadProfiles({ wanted: [...small, ...own, ...builtIn] })).profiles.filter(isMovie);
  const order = only === undefined ? randomOf(seed, 'faults').shuffled(faultNames) : [only];
  const toolchain = toolchainOf(await mediaTools()).digest;
  const making = new Map<string, Promise<{ path: string; facts: ClipFacts }>>();
  const clipOf = (clip: ClipName): Promise<{ path: string; facts: ClipFacts }> => {
    const name = nameOf(clip);
    const known =
      making.get(name) ?? makeClip(folder, clip).then(async (path) => ({ path, facts: await factsOf(path) }));
    making.set(name, known);
    return known;
  };

  const drawForm = (random: Random, fault: FaultName | null): FormName | null => {
    const form = random.of(fault === null ? formNames : plainFormNames);
    if (form === 'large' && random.below(LARGE_ONE_IN / 3) > 0) return null;
    return fault === null || (forForms[fault]?.(forms[form]) ?? true) ? form : null;
  };
  const drawProfiles = (random: Random): LoadedProfile<Profile>[] => {
    const big = random.below(LARGE_ONE_IN) === 0;
    const names = big ? builtIn : [...small, ...own].map((path) => basename(path, '.yaml'));
    const wanted = random.shuffled(names).slice(0, !big && random.below(3) === 0 ? 2 : 1);
    return profiles.filter(({ profile }) => wanted.includes(profile.name));
  };

  const drawn = async (id: string, fault: FaultName | null): Promise<Case> => {
    const random = randomOf(seed, id);
    for (let tried = 0; tried < MOST_TRIES; tried += 1) {
      const form = drawForm(random, fault);
      const wanted = drawProfiles(random);
      const picture = random.of(
        fault === null ? pictureNames : gradedNames.some((name) => name === fault) ? RICH : plainPictureNames,
      );
      const take = random.below(2);
      if (
        form === null ||
        (forms[form].interlaced !== 'no' && wanted.some(({ profile }) => profile.interlaced === 'hold'))
      )
        continue;
      const clip = { picture, form, take };
      const { path, facts: measured } = await clipOf(clip);
      const { timing }: Form = forms[form];
      const facts = timing === undefined ? measured : { ...measured, timing };
      const name = basename(path, '.mov');
      const about = {
        id: name,
        name,
        place: { kind: 'movie' as const, file: basename(path) },
        bytes: statSync(path).size,
        contentDigest: createHash('sha256').update(name).digest('hex'),
      };
      const deliverables = wanted.flatMap(({ profile, hash }) => {
        const { outcome } = outcomeOf({ day: 'day-01', roll: 'A001', clip: about, facts, profile });
        return outcome === null ? [] : [{ kind: 'movie' as const, profile, profileHash: hash, outcome }];
      });
      if (deliverables.length < wanted.length) continue;
      let operation: Operation = { do: 'none' };
      if (fault !== null) {
        const hit = random.of(deliverables);
        // Another take of the scene as often as another scene.
        const other =
          random.below(2) === 0
            ? { ...clip, take: 1 - take }
            : {
                form,
                picture: random.of(plainPictureNames.filter((one) => one !== picture)),
                take: random.below(2),
              };
        const otherClip = (await clipOf(other)).path;
        const made = drawFault(
          fault,
          { facts, profile: hit.profile, outcome: hit.outcome, otherClip },
          random,
        );
        if (made === null) continue;
        operation = made;
      }
      const job: Job = {
        version: 0,
        night: 'night',
        run: 'run-1',
        day: 'day-01',
        roll: 'A001',
        rollFolder: dirname(path),
        deliveryFolder: '',
        clip: about,
        facts,
        span: { start: 0, count: facts.video.frames },
        deliverables,
        toolchain,
      };
      return {
        id,
        fault,
        clip: name,
        profiles: deliverables.map(({ profile }) => profile.name),
        operation,
        job,
      };
    }
    throw new Error(`case ${id}: no clip and profile can have the fault ${fault}`);
  };
  const deal = (id: string, fault: FaultName | null): Deal => ({
    id,
    fault,
    draw: () => drawn(id, fault),
    isApt: (operation, codes) => fault !== null && isApt(fault, operation, codes),
  });
  return {
    fault: (number) => deal(String(number), order[number % order.length] as FaultName),
    clean: (number) => deal(`clean-${number}`, null),
  };
}
