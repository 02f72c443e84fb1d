/** An OpenEXR frame as it lies on disk: whether it is whole, what its header says, and its values. */
import { FileDamage } from '../../files/bytes.ts';
import { formatRatio, ratio } from '../../media/time/rate.ts';
import { curveSteps } from '../../proof/curve-steps.ts';
import type { Point } from '../../proof/pixel-samples.ts';
import { WholeFrameSketch } from '../../proof/whole-frame-sketch.ts';
import { ACES_WHITE, acesFaults, isAces2065 } from './exr/aces.ts';
import { type Carried, carriedText, numberText } from './carried.ts';
import { attributeText, attributeValue } from './exr/attributes.ts';
import { walkExr } from './exr/chunks.ts';
import { ExrForeign } from './exr/damage.ts';
import type { ExrHeader } from './exr/header.ts';
import { sourceOfBytes } from './exr/source.ts';
import { type ChannelSurvey, surveyValues } from './exr/values.ts';
import { type Ends, type FrameMeasured, type FrameSaid, NO_ENDS } from './measured.ts';
import { labelOf } from './time-address.ts';

/** Bits of 65504, the largest half (IEEE 754 binary16). */
const LARGEST = 0x7bff;
/** And of 1. */
const ONE = 0x3c00;
const SIGN = 0x8000;

/** Names of what the container has no attribute for, and of which the writer makes lines of its comments; besides those that the outcome has. */
const lineNames: ReadonlySet<string> = new Set([
  ...['sourceFile', 'sourceFrame', 'development', 'cameraCCTSetting', 'adoptedNeutral'],
]);

/** The colour that is neutral, as two numbers; the white of ACES2065-1 by its name. */
function neutralOf(found: readonly number[] | null): string | null {
  if (found === null) return null;
  return found.length === 2 &&
    found.every((value, index) => Math.fround(value) === Math.fround(ACES_WHITE[index] as number))
    ? 'white of ACES2065-1'
    : found.join(' ');
}

/** Attributes that a frame of ours has or may have ("Standard attributes", openexr.com; ST 2065-4, 9), and three texts of our own. */
const ours: ReadonlySet<string> = new Set([
  ...[
    'channels',
    'compression',
    'dwaCompressionLevel',
    'dataWindow',
    'displayWindow',
    'lineOrder',
    'pixelAspectRatio',
  ],
  ...[
    'screenWindowCenter',
    'screenWindowWidth',
    'chromaticities',
    'framesPerSecond',
    'timeCode',
    'imageCounter',
  ],
  ...['reelName', 'capDate', 'isoSpeed', 'expTime', 'owner', 'comments', 'cameraLabel', 'cameraSerialNumber'],
]);
/** The container has no such attributes: they are lines of its comments. */
const oursOutsideOfTheContainer = [
  'adoptedNeutral',
  'cameraCCTSetting',
  'sourceFile',
  'sourceFrame',
  'development',
];
const oursInTheContainer = ['acesImageContainerFlag', 'imageChecksum', 'headerChecksum'];

/** What the outcome has no word for: attributes of others, and a version or a screen window that is not the usual one. */
function othersOf({ attributes, version }: ExrHeader, aces: boolean, carried: readonly Carried[]): string {
  const own = aces ? oursInTheContainer : oursOutsideOfTheContainer;
  const foreign = [...attributes.keys()].filter(
    (name) =>
      !ours.has(name) && !own.includes(name) && !carried.some((one) => one.name === name && !one.isLine),
  );
  const centre = attributeValue(attributes, 'screenWindowCenter', 'v2f') ?? [];
  const width = attributeValue(attributes, 'screenWindowWidth', 'float');
  const odd = [
    ...foreign.map((name) => `attribute ${name} at byte ${attributes.get(name)?.at}`),
    ...(version === 2 ? [] : [`version field ${version}`]),
    ...(centre.every((value) => value === 0) && width === 1
      ? []
      : [`screen window ${centre.join(' ')}, ${width} wide`]),
  ];
  return odd.length === 0 ? 'nothing' : odd.join(', ');
}

/** A line of the comments as the attribute that it is of. */
function lineText({ name, type }: Carried, text: string): string {
  if (type === 'string') return `${name} ${type} ${JSON.stringify(text)}`;
  if (type === 'rational') return `${name} ${type} ${text}`;
  const numbers = text.split(' ').map((one) => numberText(type, Number(one)));
  return `${name} ${type} ${numbers.join(' ')}`;
}

function saidOf(
  header: ExrHeader,
  base: number,
  { aces, carried }: { readonly aces: boolean; readonly carried: readonly Carried[] },
): FrameSaid {
  const { attributes, dataWindow: data, displayWindow: display, channels } = header;
  // What the outcome carries besides stands there, and not in a field of its own.
  const apart = (name: string): boolean => !carried.some((one) => one.name === name);
  const text = (name: string): string | null =>
    apart(name) ? attributeValue(attributes, name, 'string') : null;
  const single = (name: string): string | null => {
    const value = apart(name) ? attributeValue(attributes, name, 'float') : null;
    return value === null ? null : String(value);
  };
  const rate = attributeValue(attributes, 'framesPerSecond', 'rational');
  const words = attributeValue(attributes, 'timeCode', 'timecode');
  const lines = new Map<string, string>();
  const own: string[] = [];
  for (const line of (text('comments') ?? '').split('\n')) {
    const [, name = '', value = ''] = (aces ? /^([\x21-\x7e]+): (.*)$/.exec(line) : null) ?? [];
    const known = lineNames.has(name) || carried.some((one) => one.isLine && one.name === name);
    if (known && !lines.has(name)) lines.set(name, value);
    else own.push(line);
  }
  const free = (name: string): string | null => (aces ? (lines.get(name) ?? null) : text(name));
  const comments = own.join('\n');
  const neutral = aces
    ? (lines.get('adoptedNeutral')?.split(' ').map(Number) ?? null)
    : attributeValue(attributes, 'adoptedNeutral', 'v2f');
  const kelvin = aces ? lines.get('cameraCCTSetting') : single('cameraCCTSetting');
  const counter = attributeValue(attributes, 'imageCounter', 'int');
  const level = attributeValue(attributes, 'dwaCompressionLevel', 'float');
  return {
    size: `${header.width}x${header.height}`,
    windows: `${data.xMin},${data.yMin} ${data.xMax},${data.yMax} of ${display.xMin},${display.yMin} ${display.xMax},${display.yMax}`,
    channels: channels
      .map(
        ({ name, kind, linear, xSampling, ySampling }) =>
          `${name} ${kind}${linear || xSampling !== 1 || ySampling !== 1 ? ' otherwise' : ''}`,
      )
      .join(', '),
    compression: level === null ? header.compression : `${header.compression}, level ${level}`,
    lineOrder: header.lineOrder,
    colours: isAces2065(attributeValue(attributes, 'chromaticities', 'chromaticities'))
      ? 'ACES2065-1'
      : 'others',
    neutral: neutralOf(neutral),
    pixelAspect: single('pixelAspectRatio') ?? 'none',
    rate: rate === null ? null : formatRatio(ratio(rate.num, rate.den)),
    timecode: words === null ? null : labelOf(words[0], words[1], base),
    reel: text('reelName'),
    owner: text('owner'),
    comments: comments === '' ? null : comments,
    captured: text('capDate'),
    iso: single('isoSpeed'),
    exposure: single('expTime'),
    source: free('sourceFile') === null ? null : `${free('sourceFile')} frame ${Number(free('sourceFrame'))}`,
    origin: null,
    counter: counter === null ? null : String(counter),
    development: free('development'),
    camera: text('cameraLabel'),
    serial: text('cameraSerialNumber'),
    whiteBalance: kelvin === undefined || kelvin === null ? null : String(Math.fround(Number(kelvin))),
    carried: carriedText(
      carried.flatMap((one) => {
        const line = one.isLine ? lines.get(one.name) : undefined;
        if (line !== undefined) return [lineText(one, line)];
        const attribute = one.isLine ? undefined : attributes.get(one.name);
        return attribute === undefined ? [] : [`${one.name} ${attribute.type} ${attributeText(attribute)}`];
      }),
    ),
    others: othersOf(header, aces, carried),
  };
}

/** Pixels of a line of which each of three channels is above 1: its bits lie above those of 1 and below the sign. Without a branch, which costs ten times as much. */
function brightIn([one, two, three]: readonly Uint16Array[]): number {
  if (one === undefined || two === undefined || three === undefined) return 0;
  let count = 0;
  for (let x = 0; x < one.length; x += 1) {
    const a = one[x] as number;
    const b = two[x] as number;
    const c = three[x] as number;
    const over = (ONE - a) & (a - SIGN) & (ONE - b) & (b - SIGN) & (ONE - c) & (c - SIGN);
    count += over >>> 31;
  }
  return count;
}

/** By name: a file has its channels in another order. */
function endsOf(channels: readonly ChannelSurvey[], of: (channel: ChannelSurvey) => number): Ends {
  const end = (wanted: string): number => {
    const channel = channels.find(({ name }) => name === wanted);
    return channel === undefined ? Number.NaN : of(channel);
  };
  return [end('R'), end('G'), end('B')];
}

export type Values = Pick<
  FrameMeasured,
  | 'faults'
  | 'said'
  | 'headerBytes'
  | 'points'
  | 'spot'
  | 'sketch'
  | 'atLimit'
  | 'notFinite'
  | 'least'
  | 'greatest'
  | 'overWhite'
>;

/** Made once a thread. */
let onCurve: Int16Array | null = null;

export async function measureExr({
  bytes,
  base,
  aces,
  carried = [],
  points,
  spot,
}: {
  readonly bytes: Buffer;
  /** Of the labels that are expected. */
  readonly base: number;
  /** Held to the container of SMPTE ST 2065-4 besides. */
  readonly aces: boolean;
  /** What else the outcome says of the source. */
  readonly carried?: readonly Carried[];
  readonly points: readonly Point[];
  readonly spot: readonly Point[];
}): Promise<Values> {
  const source = sourceOfBytes(bytes);
  try {
    const walked = await walkExr(source);
    const { width, height } = walked.header;
    const sketch = new WholeFrameSketch(width, height);
    const steps = new Int32Array(width);
    const curve = ['dwaa', 'dwab'].includes(walked.header.compression) ? (onCurve ??= curveSteps()) : null;
    let atLimit = 0;
    /** Of the line, R, G, B as they come. */
    const line: Uint16Array[] = [];
    let overWhite = 0;
    const { channels, values } = await surveyValues(
      source,
      {
        points: [...points, ...spot],
        names: ['R', 'G', 'B'],
        onLine(channel, y, halves) {
          if (channel < 0) return;
          for (let x = 0; x < width; x += 1) {
            const bits = halves[x] as number;
            const size = bits & 0x7fff;
            if (size === LARGEST) atLimit += 1;
            steps[x] = curve === null ? (bits === size ? size : -size) : (curve[bits] as number);
          }
          sketch.take(channel, y, steps);
          if (line.push(halves) < 3) return;
          overWhite += brightIn(line.splice(0));
        },
      },
      walked,
    );
    return {
      faults: aces ? acesFaults(bytes, walked.header) : [],
      said: saidOf(walked.header, base, { aces, carried }),
      headerBytes: walked.header.end,
      points: values.slice(0, 3 * points.length),
      spot: spot.length === 0 ? null : values.slice(3 * points.length),
      sketch: sketch.sums(),
      atLimit,
      notFinite: channels.reduce((sum, channel) => sum + channel.notFinite, 0),
      least: endsOf(channels, ({ least }) => least ?? Number.POSITIVE_INFINITY),
      greatest: endsOf(channels, ({ greatest }) => greatest ?? Number.NEGATIVE_INFINITY),
      overWhite,
    };
  } catch (error) {
    if (!(error instanceof FileDamage) && !(error instanceof ExrForeign) && !(error instanceof RangeError))
      throw error;
    return {
      faults: [error.message],
      said: null,
      headerBytes: null,
      points: null,
      spot: null,
      sketch: null,
      atLimit: 0,
      notFinite: 0,
      ...NO_ENDS,
    };
  }
}
