/** What the header of a frame must say, by the outcome alone. */
import { gamuts } from '../../media/colour/gamuts.ts';
import { curveSettings, type InputTransform } from '../../media/colour/input.ts';
import { formatRatio } from '../../media/time/rate.ts';
import { addFrames, formatTimecode } from '../../media/time/timecode.ts';
import { bitsOf, isLossy } from '../../profiles/master/form.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import { sourceNameAt } from '../../profiles/master/source-name.ts';
import { carriedOf } from './carried-expected.ts';
import type { FrameSaid } from './measured.ts';

/** As the writer rounds them: attributes are 32-bit floats. */
const single = (value: number | null): string | null => (value === null ? null : String(Math.fround(value)));

/** Of a field of DPX: what is no ASCII or too long is left out, and so is what says nothing. */
function inDpx(value: string | null, longest: number): string | null {
  return value !== null && value !== '' && value.length <= longest && /^[\x20-\x7e]*$/.test(value)
    ? value
    : null;
}

/** Everything of an input transform that changes a value, by the names that the settings have for it. */
function transformOf(input: InputTransform): string {
  let text: string;
  if ('name' in input) text = input.name;
  else if ('curve' in input) text = `${input.curve} ${input.gamut}`;
  else if ('file' in input) text = `${input.file} SHA-256 ${input.sha256}`;
  else text = 'log curve';
  for (const [name, value] of Object.entries(curveSettings(input))) text += `, ${name} ${value}`;
  if ('file' in input)
    return `${text}${input.interpolation === undefined ? '' : `, interpolation ${input.interpolation}`}, gives ${input.gives}`;
  if ('log' in input) {
    for (const [name, value] of Object.entries(input.log)) text += `, ${name} ${value}`;
    const { red, green, blue } = input.primaries;
    text += `, red ${red.join(' ')}, green ${green.join(' ')}, blue ${blue.join(' ')}, white ${input.white.join(' ')}`;
    return `${text}, adaptation ${input.adaptation}`;
  }
  if ('curve' in input) text += `, adaptation ${input.adaptation ?? gamuts[input.gamut].adaptation}`;
  return text;
}

/** How the values came about: the words of the outcome, in their order, apart by semicolons. */
export function developmentOf(way: MasterOutcome['linearisation']): string {
  const words: string[] = [];
  if (way.kind === 'coded') {
    const { input, declared } = way;
    words.push(`input ${transformOf(input)}`);
    words.push(
      `${way.pixelFormat}${way.matrix === null ? '' : `, matrix ${way.matrix}`}, ${way.range} range${way.siting === null ? '' : `, chroma ${way.siting}`}`,
    );
    if (declared !== null)
      words.push(
        `decoder ${declared.decoder} ${declared.version}${declared.full === null ? '' : `, full ${declared.full}`}`,
      );
    words.push('no exposure added');
  } else {
    words.push('DNG specification');
    words.push(
      way.decoderVersion === null ? `decoder ${way.decoder}` : `decoder ${way.decoder} ${way.decoderVersion}`,
    );
    words.push(`demosaic ${way.demosaic}`);
    if (way.corrections.length > 0) words.push(`corrections ${way.corrections.join(', ')}`);
    if (way.mirrored) words.push('mirrored left for right');
    if (way.turn !== 0) words.push(`turned ${way.turn} degrees clockwise`);
    words.push(`highlights ${way.highlights}`);
    words.push(
      `white ${way.white.x.toFixed(4)} ${way.white.y.toFixed(4)}, ${Math.round(way.white.kelvin)} K`,
    );
    words.push(`anchor ${way.anchor}, exposure x ${Number(way.exposure.toPrecision(9))}`);
  }
  return words.join('; ');
}

/** How codes of DPX lie, by their bits. */
const inWords = {
  10: 'RGB, 10 bits, filled to words',
  12: 'RGB, 12 bits, filled to words',
  16: 'RGB, 16 bits',
} as const;

export function saidOf(outcome: MasterOutcome, index: number): FrameSaid {
  const { width, height, format, said } = outcome;
  const dpx = format === 'dpx';
  const base = outcome.timecode;
  const inClip = outcome.stretch === null ? index : outcome.stretch.start + index;
  const made = sourceNameAt(outcome.source, inClip);
  return {
    size: `${width}x${height}`,
    windows: dpx ? `${width}x${height}` : `0,0 ${width - 1},${height - 1} of 0,0 ${width - 1},${height - 1}`,
    channels: dpx ? inWords[bitsOf(outcome)] : 'B half, G half, R half',
    compression: isLossy(outcome) ? `${outcome.compression}, level ${outcome.dwaLevel}` : outcome.compression,
    lineOrder: 'increasing-y',
    colours: dpx ? 'ACEScct, logarithmic' : 'ACES2065-1',
    neutral: dpx ? null : 'white of ACES2065-1',
    pixelAspect: dpx
      ? `${outcome.pixelAspect.num}/${outcome.pixelAspect.den}`
      : String(Math.fround(outcome.pixelAspect.num / outcome.pixelAspect.den)),
    rate: formatRatio(outcome.rate),
    // ST 12-1 counts to 30, and the field mark of OpenEXR tells the second of a pair: above that no header has a place for a label.
    timecode: base.base > (dpx ? 30 : 60) ? null : formatTimecode(addFrames(base, index)),
    reel: dpx ? null : outcome.reel,
    owner: dpx ? inDpx(said.owner, 200) : said.owner,
    comments: dpx ? null : said.comments,
    captured: dpx ? (said.captured?.replace(' ', ':') ?? null) : said.captured,
    iso: dpx ? null : single(said.iso),
    exposure: dpx ? null : single(said.exposureSeconds),
    // The field of DPX holds a hundred letters of ASCII; another name is left out of it.
    carried: carriedOf(outcome, index),
    source: dpx
      ? /^[\x20-\x7e]{1,100}$/.test(frameFileName(outcome, index))
        ? frameFileName(outcome, index)
        : null
      : `${made.file} frame ${made.frame}`,
    origin: dpx ? inDpx(made.file, 100) : null,
    counter: dpx ? `${inClip} of ${outcome.stretch?.of ?? outcome.frames}` : String(outcome.first + index),
    development: dpx ? null : developmentOf(outcome.linearisation),
    camera: dpx ? inDpx(said.camera, 32) : said.camera,
    serial: dpx ? inDpx(said.serial, 32) : said.serial,
    whiteBalance: dpx ? null : single(said.whiteKelvin),
    others: 'nothing',
  };
}
