/** What is handed over with a day besides the deliverables: every file of the folder `handover`, each with the way to its bytes. */
import { join } from 'node:path';
import { readInput } from '../ledger/transform.ts';
import { clfText } from '../media/colour/clf-writer.ts';
import { rawTransform } from '../profiles/master/raw-transform.ts';
import { canonicalJson } from '../profiles/hash.ts';
import { URL_NAMESPACE, uuid5 } from '../files/uuid.ts';
import {
  amfOfClip,
  type ClipAmf,
  clipAmfText,
  linearisationOf,
  lookTexts,
  sha256OfText,
  transformPathOf,
} from './amf.ts';
import { cutOf, reelOfClip } from './counting.ts';
import { logPieces } from './csv.ts';
import type { Day, DayClip, DayRoll } from './day.ts';
import { dayOrder } from './day-clock.ts';
import { shortReels } from './edl/reels.ts';
import { type AmfNamed, edlsOf } from './edl/roll.ts';
import { edlText } from './edl/write.ts';
import { handoverLayout } from './layout.ts';
import { dayBin, rollBin } from './otio/bin.ts';
import { type Json, jsonPieces } from './otio/json.ts';
import { dayTimeline } from './otio/timeline.ts';

export interface HandoverFile {
  /** Below the folder `handover`, `/` between parts. */
  readonly path: string;
  readonly pieces: () => Iterable<string | Buffer>;
}

/** What a list of ours cannot hold. */
export interface LeftOut {
  readonly roll: string;
  readonly clip: string;
  readonly why: string;
}

export interface HandoverContents {
  readonly files: readonly HandoverFile[];
  readonly left: readonly LeftOut[];
  /** Rolls that are handed over. */
  readonly rolls: readonly DayRoll[];
}

/** A roll is handed over when it is ready and a statement binds it. */
export const handedOver = ({ rolls }: Pick<Day, 'rolls'>): DayRoll[] =>
  rolls.filter(({ verdict, records }) => verdict === 'ready' && records.statement !== null);

function* document(json: Json): Generator<string> {
  yield* jsonPieces(json);
  yield '\n';
}

/** Throws FindingError where a file of a transform is gone from beside the reports. */
export async function contentsOf(dayFolder: string, day: Day): Promise<HandoverContents> {
  const rolls = handedOver(day);
  const clips = rolls.flatMap((roll) => roll.clips);
  const order = dayOrder(clips);
  const reels = shortReels(clips.map((clip) => reelOfClip(clip, cutOf(clip))));
  const transforms = new Map<string, string>();
  const inputs = new Map<string, string>();
  const amfs = new Map<DayClip, ClipAmf>();
  const files: HandoverFile[] = [
    { path: handoverLayout.bin, pieces: () => document(dayBin(day, rolls, order)) },
    { path: handoverLayout.timeline, pieces: () => document(dayTimeline(day, order)) },
  ];
  const left: LeftOut[] = [];
  for (const roll of rolls) {
    for (const clip of roll.clips) {
      const amf = amfOfClip(clip, roll.timeZone);
      amfs.set(clip, amf);
      if (amf.kind !== 'made') continue;
      const clf =
        amf.amf.clf === null
          ? null
          : await inputClf(join(dayFolder, roll.folder), amf, { transforms, inputs });
      for (const [sha256, text] of lookTexts(amf)) transforms.set(sha256, text);
      files.push({
        path: handoverLayout.amf(roll.folder, clip.id),
        pieces: () => [clipAmfText(clip, roll.folder, amf, clf)],
      });
    }
    const named = (clip: DayClip): AmfNamed | null => amfNamed(amfs.get(clip), roll.folder, clip);
    const { edls, left: unlisted } = edlsOf({ roll, reels, amfOf: named });
    left.push(...unlisted.map(({ clip, why }) => ({ roll: roll.roll, clip: clip.id, why })));
    files.push(
      { path: handoverLayout.rollBin(roll.folder), pieces: () => document(rollBin(roll)) },
      ...edls.map(({ counting, edl }) => ({
        path: handoverLayout.edl(roll.folder, counting),
        pieces: () => [edlText(edl)],
      })),
    );
  }
  const folders = new Map(rolls.map((roll) => [roll.roll, roll.folder]));
  files.push({
    path: handoverLayout.log,
    pieces: () =>
      logPieces(rolls, { amf: (clip) => amfText(amfs.get(clip), folders.get(clip.roll) ?? '', clip) }),
  });
  for (const [sha256, text] of transforms)
    files.push({ path: transformPathOf(sha256), pieces: () => [text] });
  return { files: files.sort((a, b) => (a.path < b.path ? -1 : 1)), left, rolls };
}

function amfNamed(amf: ClipAmf | undefined, folder: string, clip: DayClip): AmfNamed | null {
  if (amf === undefined || amf.kind === 'none') return null;
  return amf.kind === 'beside'
    ? { name: amf.path.split('/').at(-1) ?? amf.path, uuid: amf.uuid }
    : { name: handoverLayout.amf(folder, clip.id).split('/').at(-1) ?? '', uuid: amf.amf.uuid };
}

/** Below the day's folder, or why there is none. */
function amfText(amf: ClipAmf | undefined, folder: string, clip: DayClip): string {
  if (amf === undefined) return '';
  if (amf.kind === 'none') return amf.why;
  return amf.kind === 'beside' ? amf.path : `handover/${handoverLayout.amf(folder, clip.id)}`;
}

interface Transforms {
  /** Texts by SHA-256. */
  readonly transforms: Map<string, string>;
  /** SHA-256 by the input: a day's clips share a few, and such a file has 65536 places. */
  readonly inputs: Map<string, string>;
}

/** SHA-256 of the file of the input transform, which is put among the others. */
async function inputClf(
  rollFolder: string,
  { shown }: Extract<ClipAmf, { kind: 'made' }>,
  { transforms, inputs }: Transforms,
): Promise<string> {
  const linearisation = linearisationOf(shown);
  const raw = linearisation.kind === 'raw';
  const key = canonicalJson(
    raw ? { matrix: linearisation.matrix, exposure: linearisation.exposure } : { ...linearisation.input },
  );
  const known = inputs.get(key);
  if (known !== undefined) return known;
  const transform = raw ? rawTransform(linearisation) : await readInput(rollFolder, linearisation.input);
  const text = clfText(transform, {
    id: `urn:uuid:${uuid5(URL_NAMESPACE, key)}`,
    description: raw
      ? 'From linear camera values (0 black, 1 the clip level of the sensor, not white-balanced) to ACES2065-1; without demosaic and highlights'
      : 'Input transform, to ACES2065-1',
  });
  const sha256 = sha256OfText(text);
  inputs.set(key, sha256);
  transforms.set(sha256, text);
  return sha256;
}
