/** One clip of the day, from the verdict on its roll and its report. Pure. */
import { basename } from 'node:path';
import { type Clip, filesOfPlace } from '../ledger/clip.ts';
import type { ClipReport, DeliverableReport } from '../ledger/report.ts';
import type { RollVerdict } from '../ledger/roll.ts';
import { uprightSize, type ClipFacts } from '../media/facts.ts';
import { divideRatios } from '../media/time/rate.ts';
import { isMasterOutcome } from '../profiles/outcome/any.ts';
import { productionOf } from '../profiles/outcome/production.ts';
import { reelOfSource } from '../profiles/outcome/reel.ts';
import { wayText } from '../profiles/shown/words.ts';
import type { DayClip, DayDeliverable, DayFile, DayRecorded, DayStill, DeliverableUse } from './day.ts';
import { slateOf } from './slate.ts';

type ClipVerdict = RollVerdict['clips'][number];

export interface ClipOfRoll {
  readonly roll: string;
  /** The roll's folder in the day's folder. */
  readonly folder: string;
  readonly verdict: RollVerdict;
  readonly entry: ClipVerdict;
  /** null: there is none that can be read. */
  readonly report: ClipReport | null;
}

const ROLL_LETTERS = /^\p{L}+/u;

export function dayClip({ roll, folder, verdict, entry, report }: ClipOfRoll): DayClip {
  const { clip, settings } = entry;
  const facts = report?.facts ?? null;
  const reports = (report?.deliverables ?? []).flatMap((one) => (one.report === null ? [] : [one.report]));
  const shown = reports.flatMap(({ outcome }) =>
    isMasterOutcome(outcome) || useOf(outcome) !== 'proxy' ? [] : [wayText(outcome)],
  );
  return {
    id: clip.id,
    name: clip.name,
    roll,
    verdict: entry.verdict,
    cameraLetter: ROLL_LETTERS.exec(roll)?.[0] ?? null,
    camera: settings?.camera ?? null,
    source: sourceOf(clip),
    stretch: clip.stretch === undefined ? null : { start: clip.stretch.start, frames: clip.stretch.frames },
    recorded: facts === null ? null : recordedOf(facts, clip, roll),
    ...slateOf(facts?.metadata ?? {}),
    way: facts?.way ?? null,
    shown: [...new Set(shown)],
    settings: settings ?? null,
    findings: verdict.findings.filter((item) => item.clip === clip.id),
    sounds: [],
    stills: (entry.stills ?? []).map((still) => stillOf(still, folder)),
    deliverables: entry.deliverables.flatMap((said) => {
      const found = reports.find(({ profile }) => profile === said.profile);
      return found === undefined ? [] : [deliverableOf(said, found, folder)];
    }),
  };
}

function sourceOf(clip: Clip): DayClip['source'] {
  const { place, bytes, contentDigest } = clip;
  // Nobody wants the names of ten thousand frames.
  const files =
    place.kind === 'sequence'
      ? [
          ...new Set(
            [place.first, place.first + place.count - 1].flatMap((first) =>
              filesOfPlace({ ...place, first, count: 1, sound: undefined }),
            ),
          ),
        ]
      : filesOfPlace(place);
  return { files: files.map((file) => basename(file)), place, bytes, contentDigest };
}

function recordedOf(facts: ClipFacts, { place }: Clip, roll: string): DayRecorded {
  const { video, timing = {}, audio } = facts;
  const { projectRate = null } = timing;
  return {
    reel: reelOfSource(facts, roll),
    cameraReel: facts.reel,
    start: facts.timecode,
    timecodeFrom: facts.timecodeFrom,
    rate: video.rate,
    rateConstant: video.rateConstant,
    projectRate,
    factor: projectRate === null ? null : divideRatios(video.rate, projectRate),
    frames: video.frames,
    firstNumber: place.kind === 'sequence' ? place.first : 0,
    parts: facts.parts ?? [],
    ...uprightSize(video),
    codec: video.codec,
    createdAt: facts.createdAt,
    audio: audio.filter(({ recording }) => recording === undefined),
    soundFile: place.kind === 'sequence' ? (place.sound?.file ?? null) : null,
    metadata: facts.metadata,
  };
}

function stillOf(still: NonNullable<ClipVerdict['stills']>[number], folder: string): DayStill {
  const { file, frame, timecode, width, height, bytes, sha256 } = still;
  return { path: `${folder}/${file}`, frame, timecode, width, height, bytes, sha256 };
}

function useOf(outcome: DeliverableReport['outcome']): DeliverableUse {
  if (isMasterOutcome(outcome) || outcome.linearisation !== null) return 'master';
  return outcome.exact === null ? 'proxy' : 'archive';
}

function fileOf(said: ClipVerdict['deliverables'][number], folder: string): DayFile | null {
  if (said.file === null) return null;
  return {
    path: `${folder}/${said.file}`,
    bytes: said.bytes ?? 0,
    sha256: said.sha256 ?? null,
    xxh128: said.xxh128,
    files: said.files ?? null,
  };
}

function deliverableOf(
  said: ClipVerdict['deliverables'][number],
  { outcome, sidecars = [], checks }: DeliverableReport,
  folder: string,
): DayDeliverable {
  const file = fileOf(said, folder);
  const luma = checks.find(({ pictureError }) => pictureError !== undefined)?.pictureError?.planes[0];
  const amf = outcome.amf;
  const isFrames = isMasterOutcome(outcome);
  // Of frames it lies among them.
  const beside = isFrames ? `${folder}/${said.profile}/${outcome.fileName}` : `${folder}/${said.profile}`;
  return {
    profile: said.profile,
    use: useOf(outcome),
    kind: isFrames ? 'frames' : 'movie',
    state: said.state,
    file,
    sidecars: sidecars.map(({ path, bytes, sha256 }) => ({ path: `${folder}/${path}`, bytes, sha256 })),
    rate: outcome.rate,
    frames: outcome.frames,
    start: outcome.timecode,
    timecodeFrom: outcome.cadence.timecodeFrom,
    cadence: outcome.cadence,
    reel: outcome.reel,
    width: outcome.width,
    height: outcome.height,
    codec: isFrames ? outcome.format : outcome.codec,
    burntIn: !isFrames && outcome.burnIn.length > 0,
    numbered: isFrames
      ? {
          stem: outcome.stem,
          first: outcome.first,
          digits: outcome.digits,
          extension: outcome.extension,
        }
      : null,
    amf: amf === null ? null : { path: `${beside}/${amf.file}`, says: amf },
    psnr:
      luma === undefined
        ? null
        : { median: luma.median, worst: luma.worst, frame: luma.frame, timecode: luma.timecode },
    audioTracks: isFrames ? 0 : outcome.audio.length,
    production: isFrames ? null : productionOf(outcome.audio),
    shownBy: isFrames ? null : outcome.shown,
  };
}
