/** A night as `run` is asked for one, and as the standing coordinator asks for it: read and refused alike. */
import { FindingError, finding } from '../../findings/finding.ts';
import type { SegmentsAsked } from '../dispatch/segments.ts';
import type { Rate } from '../../media/time/rate.ts';
import { profilesOf, pullFolders, pullOrder } from '../pull/order.ts';
import { nightFolders } from '../roll/folders.ts';
import { volumesOf } from '../roll/volumes.ts';
import { noSettings, readSettings } from '../settings/read.ts';
import { parseQueueAddress } from '../store/shared.ts';
import { DEFAULT_PATIENCE_SECONDS, DEFAULT_READERS, DEFAULT_STALL_SECONDS } from './defaults.ts';
import type { NightRequest } from './request.ts';

/** What the command line of `run` says of the night. */
export interface NightOptions {
  readonly day: string;
  readonly deliver: string;
  readonly work?: string;
  readonly copy?: readonly string[];
  readonly profile?: readonly string[];
  readonly manifests?: readonly string[];
  readonly readers?: number;
  readonly workers?: number;
  readonly slots?: number;
  readonly roll?: readonly string[];
  readonly first?: readonly string[];
  readonly by?: readonly string[];
  readonly rate?: Rate;
  readonly pull?: string;
  readonly handles?: number;
  readonly cutRate?: Rate;
  readonly stills?: number;
  readonly segments?: SegmentsAsked;
  readonly replace?: boolean;
  readonly settings?: string;
  readonly ignore?: readonly string[];
  readonly queue?: string;
  readonly weight?: number;
  readonly volumes?: string;
  readonly queueCa?: string;
  readonly queueCert?: string;
  readonly queueKey?: string;
  readonly ffmpeg?: string;
  readonly ffprobe?: string;
  readonly stallSeconds?: number;
  readonly patienceSeconds?: number;
  readonly waitForRun?: boolean;
}

/** Throws FindingError (exit 2). Makes nothing. */
export async function nightAsked(options: NightOptions): Promise<NightRequest> {
  const ofDay = nightFolders({
    day: options.day,
    copies: options.copy ?? [],
    deliver: options.deliver,
    manifests: options.manifests ?? [],
    ...(options.work === undefined ? {} : { work: options.work }),
  });
  const pull = await pullOrder(options, ofDay);
  const folders = pull === null ? ofDay : pullFolders(ofDay, pull, options.roll ?? []);
  const settings = options.settings === undefined ? noSettings : await readSettings(options.settings);
  const queue = options.queue === undefined ? null : parseQueueAddress(options.queue, options);
  if (options.workers === 0 && queue === null)
    throw new FindingError(
      [
        finding(
          'usage-wrong',
          '--workers 0 without --queue: nobody would do the work',
          '--workers 1 or more, or --queue with workers on other machines',
        ),
      ],
      2,
    );
  if (options.weight !== undefined && queue === null)
    throw new FindingError(
      [
        finding(
          'usage-wrong',
          '--weight without --queue: no other run shares this machine',
          '--weight with --queue, or neither',
        ),
      ],
      2,
    );
  const volumes = options.volumes === undefined ? null : await volumesOf(options.volumes, folders);
  return {
    folders,
    rolls: { only: options.roll ?? [], first: options.first ?? [] },
    by: options.by,
    pull,
    profiles: profilesOf(options),
    readers: options.readers ?? DEFAULT_READERS,
    workers: options.workers ?? null,
    slots: options.slots ?? null,
    statedRate: options.rate ?? null,
    stills: options.stills,
    segments: options.segments,
    replace: options.replace,
    settings,
    ignore: options.ignore ?? [],
    queue,
    weight: options.weight,
    volumes,
    ...(options.ffmpeg === undefined ? {} : { ffmpeg: options.ffmpeg }),
    ...(options.ffprobe === undefined ? {} : { ffprobe: options.ffprobe }),
    stallSeconds: options.stallSeconds ?? DEFAULT_STALL_SECONDS,
    waitForRun: options.waitForRun === true,
    patienceSeconds: options.patienceSeconds ?? DEFAULT_PATIENCE_SECONDS,
  };
}
