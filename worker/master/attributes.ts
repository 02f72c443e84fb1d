/** What the header of a frame says, from the outcome. */
import type { DpxFrame } from '../../media/formats/dpx/header.ts';
import { AP0 } from '../../media/formats/exr/aces-rules.ts';
import type { ExrAttributes } from '../../media/formats/exr/frame-attributes.ts';
import { addFrames } from '../../media/time/timecode.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';

const present = <Name extends string, Value>(
  name: Name,
  value: Value | null,
): Partial<Record<Name, Value>> => (value === null ? {} : ({ [name]: value } as Record<Name, Value>));

/** How the values came about, one line. */
export function developmentText(linearisation: Linearisation): string {
  if (linearisation.kind === 'coded') {
    const { input } = linearisation;
    const name =
      'name' in input
        ? input.name
        : 'curve' in input
          ? `${input.curve} ${input.gamut}`
          : 'file' in input
            ? `${input.file} SHA-256 ${input.sha256}`
            : `log curve base ${input.log.base}`;
    const { declared } = linearisation;
    const { pixelFormat, matrix, range } = linearisation;
    const samples = [pixelFormat, ...(matrix === null ? [] : [`matrix ${matrix}`]), `${range} range`];
    const full = declared?.full === undefined ? '' : `, full ${declared.full}`;
    const decoder = declared === undefined ? [] : [`decoder ${declared.decoder} ${declared.version}${full}`];
    return [`input ${name}`, samples.join(', '), ...decoder, 'no exposure added'].join('; ');
  }
  const { decoder, decoderVersion, demosaic, highlights, white, exposure } = linearisation;
  return [
    'DNG specification',
    `decoder ${decoder}${decoderVersion === null ? '' : ` ${decoderVersion}`}`,
    `demosaic ${demosaic}`,
    `highlights ${highlights}`,
    `white ${white.x.toFixed(4)} ${white.y.toFixed(4)}, ${Math.round(white.kelvin)} K`,
    `exposure x ${Number(exposure.toPrecision(9))}`,
  ].join('; ');
}

export function attributesOf(outcome: MasterOutcome, index: number, source: string): ExrAttributes {
  const { said, reel, rate, pixelAspect, timecode, first } = outcome;
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
    // As many digits in each frame of a clip: without compression every frame is then as long as the other.
    free: {
      sourceFile: source,
      sourceFrame: String(index).padStart(String(outcome.frames - 1).length, '0'),
      development: developmentText(outcome.linearisation),
    },
  };
}

export function dpxOf(outcome: MasterOutcome, index: number, source: string): DpxFrame {
  const { said, rate, pixelAspect, timecode, frames } = outcome;
  return {
    fileName: frameFileName(outcome, index),
    encoding: 'ACEScct',
    rate,
    timecode: addFrames(timecode, index),
    pixelAspect,
    position: index,
    frames,
    sourceFile: source,
    ...present('captured', said.captured),
    ...present('owner', said.owner),
    ...present('device', said.camera),
    ...present('serial', said.serial),
  };
}
