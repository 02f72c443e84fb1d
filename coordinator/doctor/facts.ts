/** What doctor knows of the machine before it judges: measured values and what could not be measured, nothing decided. */
import type { Finding } from '../../findings/finding.ts';
import type { Abilities, FoundTool } from '../../process/locate.ts';

export const abilityKinds = ['encoder', 'decoder', 'filter'] as const;
export type AbilityKind = (typeof abilityKinds)[number];

/** One thing that ffmpeg must be able to do, and for whom: names of profiles, or kinds of source. */
export interface AbilityNeed {
  readonly kind: AbilityKind;
  readonly name: string;
  readonly neededFor: readonly string[];
  /** false: without it some sources are held, and nothing else. */
  readonly required: boolean;
}

/** What ffmpeg makes, and what it reads. */
export interface AllAbilities extends Abilities {
  readonly decoders: ReadonlySet<string>;
}

/** A program that was looked for: found, or the findings that say why not. */
export type Sought<Found> = { readonly found: Found } | { readonly findings: readonly Finding[] };

export interface StoreProgram {
  readonly path: string;
  /** `environment` or `path`. */
  readonly from: string;
  readonly product: string;
  readonly version: string;
}

/** A shared queue named by the user, looked at instead of the program. `address` is free of passwords. */
export interface SharedQueue {
  readonly address: string;
  readonly findings: readonly Finding[];
}

export interface VolumeFacts {
  readonly role: 'delivery' | 'work' | 'here' | 'scratch';
  readonly folder: string;
  /** The folder that was measured: itself, or the nearest one above that exists. */
  readonly measured: string;
  /** Bytes that this user may still write (statfs bavail, not bfree); null when it cannot be asked. */
  readonly freeBytes: number | null;
  /** Files that may still be made; null where the file system does not count them. */
  readonly freeFiles: number | null;
  readonly writable: boolean;
  readonly error: string | null;
}

export interface MachineFacts {
  /** `v20.19.0` */
  readonly node: string;
  /** `linux x64` */
  readonly platform: string;
  readonly cores: number;
  /** What this process may use, bytes: the machine's memory or the container's share. */
  readonly memoryBytes: number;
  readonly ffmpeg: Sought<FoundTool>;
  readonly ffprobe: Sought<FoundTool>;
  /** null: not asked, since there is no ffmpeg. */
  readonly abilities: Sought<AllAbilities> | null;
  readonly store: Sought<StoreProgram> | null;
  readonly queue: SharedQueue | null;
  /** Each kernel of this program, with why it cannot be loaded, or null: it can. */
  readonly kernels: readonly { readonly name: string; readonly error: string | null }[];
  /** LibRaw's reader of raw frames, with its version; null: there is none. */
  readonly libraw: string | null;
  /** Path of the font, null when it is not there. */
  readonly font: string | null;
  readonly volumes: readonly VolumeFacts[];
}
