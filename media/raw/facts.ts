/**
 * Survey of a raw clip: every frame's tags, one camera setting in all of them, timecode and rate, and a decoder that has shown on the
 * first frame that it serves. What is wrong comes back as findings; facts are there when the first frame could be read and decoded.
 */
import { isDeepStrictEqual } from 'node:util';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import { type ClipReaders, readersHere } from './clip-readers.ts';
import type { ClipFacts } from '../facts.ts';
import { type SequencePlace, frameName } from '../input.ts';
import { FileDamage } from '../../files/bytes.ts';
import { printable } from '../../files/names.ts';
import { type Rate, ratio } from '../time/rate.ts';
import { timecodeInHeaders } from '../sequence/facts.ts';
import { damageFindings, decideRate, timecodeFindings } from '../sequence/judge.ts';
import { evenTimes, packetsOfFiles } from '../sequence/numbered.ts';
import { DecoderFailed, type RawDecoder, chooseDecoder } from './decoders/decoder.ts';
import { ownDecoder } from './decoders/own.ts';
import type { DngFrame, RawCamera, RawPicture } from '../formats/dng/header.ts';
import type { RawFacts } from '../raw-facts.ts';
import { correctionName, whyNot } from './corrections/which.ts';
import { illuminantKelvin } from './develop/illuminants.ts';
import { isMirrored, turnOf } from './develop/turn.ts';
import { type DngReading, type FrameTags, framePath } from './sequence.ts';

/** Fields of the picture that may not change within a clip, each with its name for people. */
const PICTURE_FIELDS: { readonly [Field in keyof RawPicture]: string } = {
  width: 'width',
  height: 'height',
  activeArea: 'active area',
  maskedAreas: 'masked areas',
  defaultCrop: 'default crop',
  defaultScale: 'pixel shape',
  orientation: 'orientation',
  pattern: 'colour pattern',
  sampleFormat: 'kind of samples',
  bitsPerSample: 'bits a sample',
  compression: 'compression',
  linearisation: 'linearisation table',
  black: 'black levels',
  white: 'white level',
  calibrations: 'colour matrices',
  analogBalance: 'analog balance',
  asShotNeutral: 'white balance (AsShotNeutral)',
  asShotWhiteXy: 'white balance (AsShotWhiteXY)',
  baselineExposure: 'baseline exposure',
  bayerGreenSplit: 'green split',
  linearResponseLimit: 'linear response limit',
};
const CAMERA_FIELDS = {
  model: 'camera model',
  label: 'camera label',
  serial: 'camera serial number',
  reel: 'reel name',
} as const satisfies Partial<Record<keyof RawCamera, string>>;
const EXPOSURE_FIELDS = {
  iso: 'ISO',
  exposureSeconds: 'exposure time',
  fNumber: 'f-number',
  tStop: 'T-stop',
} as const satisfies Partial<Record<keyof RawCamera, string>>;

/** Short, whatever it is. */
function shown(value: unknown): string {
  const text =
    value === null || value === undefined
      ? 'none'
      : typeof value === 'object'
        ? JSON.stringify(value)
        : String(value);
  return printable(text.length > 100 ? `${text.slice(0, 99)}…` : text);
}

interface Difference {
  readonly index: number;
  readonly what: string;
  readonly found: string;
  readonly expected: string;
}

/** For each field the first frame in which it is not what the first frame has. */
function differences<Values extends object>(
  values: readonly (Values | null)[],
  fields: Partial<Record<keyof Values, string>>,
): Difference[] {
  const first = values.find((value) => value !== null);
  if (first === undefined || first === null) return [];
  return (Object.entries(fields) as [keyof Values, string][]).flatMap(([field, what]) => {
    const index = values.findIndex(
      (value) => value !== null && !isDeepStrictEqual(value[field], first[field]),
    );
    return index < 0
      ? []
      : [{ index, what, found: shown(values[index]?.[field]), expected: shown(first[field]) }];
  });
}

function refusalFindings(
  reading: DngReading,
  inFolder: (name: string) => string,
  subject: FindingSubject,
): Finding[] {
  const [first] = reading.refused;
  if (first === undefined) return [];
  const many = reading.refused.length > 1 ? ` (${reading.refused.length} frames)` : '';
  return [
    finding(
      'raw-frame-refused',
      `${printable(first.name)}: ${printable(first.reasons.join('; '))}${many}`,
      'sensor values under a 2 x 2 colour pattern, or LinearRaw of red, green and blue',
      { ...subject, file: inFolder(first.name) },
    ),
  ];
}

/** What frames ask for, each once; where several ask for one, the strictest word counts. */
function correctionsOf(frames: readonly (FrameTags | null)[]): NonNullable<RawFacts['corrections']> {
  const all = new Map<string, { name: string; optional: boolean; why: string | null }>();
  for (const frame of frames)
    for (const opcode of frame?.opcodes ?? []) {
      const name = correctionName(opcode);
      const why = whyNot(opcode, (frame as FrameTags).picture);
      // Made where frames are read, whatever is chosen.
      if (opcode.correction?.kind === 'trim' && why === null) continue;
      const known = all.get(name);
      all.set(name, {
        name,
        optional: opcode.optional && (known?.optional ?? true),
        why: known?.why ?? why,
      });
    }
  return [...all.values()];
}

/** Calibrations that count for nothing, since nobody says under which light they were measured. */
function lostCalibrations({ calibrations }: RawPicture): string[] {
  if (calibrations.length < 2) return [];
  return calibrations.flatMap(({ illuminant, illuminantXy }, index) =>
    illuminantXy === undefined && illuminantKelvin(illuminant) === null
      ? [`ColorMatrix${index + 1} (under a light that is not said)`]
      : [],
  );
}

interface FrameNames {
  readonly place: SequencePlace;
  /** Of a frame by its index, as findings name it: with its folder. */
  readonly fileOf: (index: number) => string;
}

function settingFindings(
  { frames }: DngReading,
  { place, fileOf }: FrameNames,
  subject: FindingSubject,
): Finding[] {
  const held = [
    ...differences(
      frames.map((frame) => frame?.picture ?? null),
      PICTURE_FIELDS,
    ),
    ...differences(
      frames.map((frame) => frame?.camera ?? null),
      CAMERA_FIELDS,
    ),
  ];
  const reported = differences(
    frames.map((frame) => frame?.camera ?? null),
    EXPOSURE_FIELDS,
  );
  const words = ({ index, what, found }: Difference): string =>
    `frame ${place.first + index}, ${what}: ${found}`;
  const passedOver = [
    ...new Set(
      frames.flatMap((frame) =>
        frame === null ? [] : [...frame.passedOver, ...lostCalibrations(frame.picture)],
      ),
    ),
  ];
  return [
    ...held.map((item) =>
      finding('raw-frames-differ', words(item), `${item.expected}, as in the first frame`, {
        ...subject,
        file: fileOf(item.index),
      }),
    ),
    ...reported.map((item) =>
      finding('raw-exposure-varies', words(item), `${item.expected}, as in the first frame`, {
        ...subject,
        file: fileOf(item.index),
      }),
    ),
    ...(passedOver.length === 0
      ? []
      : [finding('raw-tag-left-out', passedOver.join(', '), 'no such tags', subject)]),
  ];
}

/** DefaultScale is stored in fractions of any kind; six digits tell every pixel shape apart. */
const SCALE_DIGITS = 1_000_000;

/** As ffmpeg would call the samples. */
function pixelFormatOf({ pattern, sampleFormat }: RawPicture): string {
  if (pattern !== null) return `bayer_${pattern}16le`;
  return sampleFormat === 'float' ? 'rgbf32le' : 'rgb48le';
}

interface ReadClip {
  readonly first: DngFrame;
  readonly reading: DngReading;
  readonly place: SequencePlace;
  readonly rate: Rate;
  readonly decoder: RawDecoder;
}

function clipFacts({
  first: { picture, camera },
  reading,
  place,
  rate,
  decoder: { name, version, declaration },
}: ReadClip): ClipFacts & { raw: RawFacts } {
  const corrections = correctionsOf(reading.frames);
  const raw: RawFacts = {
    picture,
    camera,
    ...(corrections.length === 0 ? {} : { corrections }),
    decoder: { name, version, ...(declaration === undefined ? {} : { declaration }) },
  };
  const { timecode, text } = timecodeInHeaders(reading.frames, rate);
  return {
    kind: 'sequence',
    container: 'dng',
    video: {
      streamIndex: 0,
      codec: picture.compression === 'none' ? 'rawvideo' : picture.compression,
      codecTag: '',
      profile: null,
      level: null,
      width: picture.width,
      height: picture.height,
      pixelAspect: ratio(
        Math.round(picture.defaultScale.horizontal * SCALE_DIGITS),
        Math.round(picture.defaultScale.vertical * SCALE_DIGITS),
      ),
      rotation: turnOf(picture.orientation),
      ...(isMirrored(picture.orientation) ? { mirrored: true } : {}),
      pixelFormat: pixelFormatOf(picture),
      bitDepth: picture.bitsPerSample,
      fieldOrder: 'progressive',
      colour: { primaries: null, transfer: null, matrix: null, range: null },
      claimedFrames: null,
      ...evenTimes(place.count, rate),
      ...packetsOfFiles(reading.fileBytes),
    },
    audio: [],
    timecode,
    timecodeFrom: timecode === null ? null : 'header',
    reel: camera.reel,
    createdAt: camera.capturedAt,
    metadata: Object.fromEntries(
      Object.entries({
        camera_model: camera.model,
        camera_label: camera.label,
        camera_serial: camera.serial,
        timecode: text,
      }).filter((entry): entry is [string, string] => entry[1] !== null),
    ),
    firstNumber: place.first,
    ...(reading.stated === null ? {} : { stated: reading.stated }),
    raw,
  };
}

/** The decoder that decoded this frame, or the finding that says why none did. */
async function tryDecoder(
  path: string,
  frame: DngFrame,
  {
    decoders = [ownDecoder],
    subject = {},
    readers = readersHere,
    signal,
  }: Pick<DngSurveyOptions, 'decoders' | 'subject' | 'readers' | 'signal'>,
): Promise<RawDecoder | Finding> {
  const chosen = chooseDecoder(path, frame, decoders);
  if ('objections' in chosen)
    return finding(
      'raw-no-decoder',
      printable(chosen.objections.join('; ') || 'the one that is named is not there'),
      'a decoder that takes them',
      subject,
    );
  try {
    const options = signal === undefined ? {} : { signal };
    if (chosen.decoder === ownDecoder) await readers.decode(path, options);
    else await chosen.decoder.decode(path, frame, options);
    return chosen.decoder;
  } catch (error) {
    signal?.throwIfAborted();
    if (
      !(error instanceof FileDamage) &&
      !(error instanceof DecoderFailed) &&
      (error as NodeJS.ErrnoException).syscall === undefined
    )
      throw error;
    return finding(
      'raw-frame-undecodable',
      printable((error as Error).message),
      `a whole picture from ${chosen.decoder.name}`,
      subject,
    );
  }
}

export interface DngSurveyOptions {
  /** In the order in which they are asked; our own alone by default. */
  readonly decoders?: readonly RawDecoder[];
  readonly subject?: FindingSubject;
  readonly signal?: AbortSignal;
  /** In this process when absent. */
  readonly readers?: ClipReaders;
}

export interface DngSurvey {
  /** With `raw`. Null: the clip cannot be developed, and a finding says why. */
  readonly facts: (ClipFacts & { raw: RawFacts }) | null;
  readonly findings: Finding[];
}

/** `statedRate`: what the user says; it must not differ from what the frames say. Throws the signal's reason when stopped. */
export async function surveyDng(
  rollFolder: string,
  place: SequencePlace,
  statedRate: Rate | null,
  options: DngSurveyOptions = {},
): Promise<DngSurvey> {
  const { subject = {}, signal, readers = readersHere } = options;
  const reading = await readers.raw(rollFolder, place, signal === undefined ? {} : { signal });
  const inFolder = (name: string): string => (place.folder === '' ? name : `${place.folder}/${name}`);
  const fileOf = (index: number): string => inFolder(frameName(place, place.first + index));
  const { rate, findings: rateFindings } = decideRate(reading.frames, statedRate, subject);
  const findings = [
    ...damageFindings(place, reading.damaged, subject),
    ...refusalFindings(reading, inFolder, subject),
    ...settingFindings(reading, { place, fileOf }, subject),
  ];
  const { first } = reading;
  // A clip of which no frame is read has no rate that anybody asks for.
  if (reading.frames.some((frame) => frame !== null)) findings.push(...rateFindings);
  if (first === null || rate === null) return { facts: null, findings };
  findings.push(...timecodeFindings(place, timecodeInHeaders(reading.frames, rate), subject));
  const served = await tryDecoder(framePath(rollFolder, place, place.first), first, {
    ...options,
    subject: { ...subject, file: fileOf(0) },
  });
  if ('code' in served) return { facts: null, findings: [...findings, served] };
  return { facts: clipFacts({ first, reading, place, rate, decoder: served }), findings };
}
