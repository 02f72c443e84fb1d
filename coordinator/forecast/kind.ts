/** What jobs have in common that take about as long a frame: codec and raster of the source, and what is made of it. Pure. */
import type { Job } from '../../ledger/job.ts';

export interface Kind {
  /** Of the source. */
  readonly codec: string;
  readonly width: number;
  readonly height: number;
  /** In the order of their names. */
  readonly profiles: readonly { readonly name: string; readonly hash: string }[];
  /** Pictures of a few frames that are made as well. */
  readonly stills: number;
}

type KindOf = Pick<Job, 'stills'> & {
  readonly facts: { readonly video: Pick<Job['facts']['video'], 'codec' | 'width' | 'height'> };
  readonly deliverables: readonly {
    readonly profile: { readonly name: string };
    readonly profileHash: string;
  }[];
};

export function kindOf({ facts: { video }, deliverables, stills }: KindOf): Kind {
  return {
    codec: video.codec,
    width: video.width,
    height: video.height,
    profiles: deliverables
      .map(({ profile, profileHash }) => ({ name: profile.name, hash: profileHash }))
      .sort((a, b) => (a.name < b.name ? -1 : a.name > b.name ? 1 : 0)),
    stills: stills?.stills.length ?? 0,
  };
}

/** Asked for far more often than there are kinds. */
const keys = new WeakMap<Kind, string>();

/** Equal for equal kinds. */
export function kindKey(kind: Kind): string {
  const known = keys.get(kind);
  if (known !== undefined) return known;
  const { codec, width, height, profiles, stills } = kind;
  const key = JSON.stringify([codec, width, height, profiles.map(({ name, hash }) => [name, hash]), stills]);
  keys.set(kind, key);
  return key;
}

/** For people: `vc3 1920x1080 to editorial-vc3`. */
export const kindText = ({ codec, width, height, profiles, stills }: Kind): string =>
  `${codec} ${width}x${height} to ${profiles.length === 0 ? (stills === 1 ? '1 still' : `${stills} stills`) : profiles.map(({ name }) => name).join(' and ')}`;
