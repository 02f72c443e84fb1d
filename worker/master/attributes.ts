/** What the header of a frame says, from the outcome. Frame threads are given it: what makes it would be loaded by each of them again. */
import type { DpxFrame } from '../../media/formats/dpx/header.ts';
import { gamuts } from '../../media/colour/gamuts.ts';
import { curveSettings, type InputTransform } from '../../media/colour/input.ts';
import { AP0 } from '../../media/formats/exr/aces-rules.ts';
import type { ExrAttributes } from '../../media/formats/exr/frame-attributes.ts';
import type { StatedValue } from '../../media/formats/stated-schema.ts';
import { valueAt } from '../../media/formats/stated.ts';
import { type ExrAttribute, statedAttribute } from '../../media/formats/exr/attribute.ts';
import { sourceNameAt } from '../../profiles/master/source-name.ts';
import { addFrames } from '../../media/time/timecode.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import { clipFrame, clipFrames } from '../../profiles/master/stretch.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import type { FrameHead } from './orders.ts';

const present = <Name extends string, Value>(
  name: Name,
  value: Value | null,
): Partial<Record<Name, Value>> => (value === null ? {} : ({ [name]: value } as Record<Name, Value>));

const words = (values: Readonly<Record<string, unknown>>): string[] =>
  Object.entries(values).flatMap(([name, value]) =>
    value === undefined ? [] : [`${name} ${Array.isArray(value) ? value.join(' ') : String(value)}`],
  );

/** The input transform with everything that changes a value. */
function inputText(input: InputTransform): string {
  const settings = words(curveSettings(input));
  if ('name' in input) return [input.name, ...settings].join(', ');
  if ('curve' in input) {
    const { curve, gamut, adaptation = gamuts[gamut].adaptation } = input;
    return [`${curve} ${gamut}`, ...settings, `adaptation ${adaptation}`].join(', ');
  }
  if ('file' in input) {
    const { file, sha256, interpolation, gives } = input;
    return [`${file} SHA-256 ${sha256}`, ...words({ interpolation, gives })].join(', ');
  }
  const { log, primaries, white, adaptation } = input;
  return ['log curve', ...words({ ...log, ...primaries, white, adaptation })].join(', ');
}

/** How the values came about, one line. */
export function developmentText(linearisation: Linearisation): string {
  if (linearisation.kind === 'coded') {
    const { input } = linearisation;
    const name = inputText(input);
    const { declared } = linearisation;
    const { pixelFormat, matrix, range, siting } = linearisation;
    const samples = [
      pixelFormat,
      ...(matrix === null ? [] : [`matrix ${matrix}`]),
      `${range} range`,
      ...(siting === null ? [] : [`chroma ${siting}`]),
    ];
    const full = declared === null || declared.full === null ? '' : `, full ${declared.full}`;
    const decoder = declared === null ? [] : [`decoder ${declared.decoder} ${declared.version}${full}`];
    return [`input ${name}`, samples.join(', '), ...decoder, 'no exposure added'].join('; ');
  }
  const { decoder, decoderVersion, demosaic, highlights, white, anchor, exposure } = linearisation;
  const { corrections, turn, mirrored } = linearisation;
  return [
    'DNG specification',
    `decoder ${decoder}${decoderVersion === null ? '' : ` ${decoderVersion}`}`,
    `demosaic ${demosaic}`,
    ...(corrections.length === 0 ? [] : [`corrections ${corrections.join(', ')}`]),
    ...(mirrored ? ['mirrored left for right'] : []),
    ...(turn === 0 ? [] : [`turned ${turn} degrees clockwise`]),
    `highlights ${highlights}`,
    `white ${white.x.toFixed(4)} ${white.y.toFixed(4)}, ${Math.round(white.kelvin)} K`,
    `anchor ${anchor}, exposure x ${Number(exposure.toPrecision(9))}`,
  ].join('; ');
}

/** The file that a frame was made from. */
function sourceOf(outcome: MasterOutcome, index: number): { file: string; number: string } {
  const { source: names } = outcome;
  const { file, frame } = sourceNameAt(names, clipFrame(outcome, index));
  const last = sourceNameAt(names, clipFrames(outcome) - 1).frame;
  return { file, number: String(frame).padStart(String(last).length, '0') };
}

function carriedAt(outcome: MasterOutcome, index: number): ExrAttribute[] {
  return outcome.carried.flatMap((attribute) => {
    const value = valueAt(attribute, clipFrame(outcome, index));
    return value === null ? [] : [statedAttribute(attribute.name, attribute.type, value)];
  });
}

export function attributesOf(outcome: MasterOutcome, index: number): ExrAttributes {
  const { said, reel, rate, pixelAspect, timecode, first } = outcome;
  const { file, number } = sourceOf(outcome, index);
  return {
    chromaticities: AP0,
    pixelAspect: pixelAspect.num / pixelAspect.den,
    timecode: addFrames(timecode, index),
    framesPerSecond: rate,
    imageCounter: first + index,
    adoptedNeutral: [0.32168, 0.33767],
    ...present('reelName', reel),
    ...present('capDate', said.captured),
    ...present('isoSpeed', said.iso),
    ...present('expTime', said.exposureSeconds),
    ...present('cameraCCTSetting', said.whiteKelvin),
    ...present('owner', said.owner),
    ...present('comments', said.comments),
    ...present('cameraLabel', said.camera),
    ...present('cameraSerialNumber', said.serial),
    free: {
      sourceFile: file,
      // As many digits in each frame of a clip.
      sourceFrame: number,
      development: developmentText(outcome.linearisation),
    },
    carried: carriedAt(outcome, index),
  };
}

export function dpxOf(outcome: MasterOutcome, index: number): DpxFrame {
  const { said, rate, pixelAspect, timecode, carried } = outcome;
  const at = (name: string): StatedValue | null => {
    const attribute = carried.find((one) => one.name === name);
    return attribute === undefined ? null : valueAt(attribute, clipFrame(outcome, index));
  };
  const [angle, slate] = [at('shutterAngle'), at('slate')];
  return {
    fileName: frameFileName(outcome, index),
    encoding: 'ACEScct',
    rate,
    timecode: addFrames(timecode, index),
    pixelAspect,
    position: clipFrame(outcome, index),
    frames: clipFrames(outcome),
    sourceFile: sourceOf(outcome, index).file,
    ...present('shutterAngle', typeof angle === 'number' ? angle : null),
    ...present('slate', typeof slate === 'string' ? slate : null),
    ...present('captured', said.captured),
    ...present('owner', said.owner),
    ...present('device', said.camera),
    ...present('serial', said.serial),
  };
}

export const headOf = (outcome: MasterOutcome, index: number): FrameHead => ({
  file: frameFileName(outcome, index),
  says:
    outcome.format === 'dpx'
      ? { kind: 'dpx', frame: dpxOf(outcome, index) }
      : { kind: 'exr', attributes: attributesOf(outcome, index) },
});
