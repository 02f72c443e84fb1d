/** An OpenEXR frame as it lies on disk: whether it is whole, what its header says, and its values. */
import { FileDamage } from '../../files/bytes.ts';
import { acesFaults } from '../../media/exr/aces.ts';
import { AP0 } from '../../media/exr/aces-rules.ts';
import { type Chromaticities, exrValue } from '../../media/exr/attribute.ts';
import { ExrForeign } from '../../media/exr/damage.ts';
import type { ExrHeader } from '../../media/exr/parse.ts';
import { type Point, surveyValues } from '../../media/exr/read.ts';
import { sourceOfBytes } from '../../media/exr/source.ts';
import { unpackTimecode } from '../../media/exr/timecode.ts';
import { walkExr } from '../../media/exr/walk.ts';
import { formatRatio, ratio } from '../../media/time/rate.ts';
import { formatTimecode } from '../../media/time/timecode.ts';
import type { FrameMeasured, FrameSaid } from './measured.ts';

/** Names of what the container has no attribute for, and of which the writer makes lines of its comments. */
const LINE =
  /^(sourceFile|sourceFrame|development|cameraCCTSetting|cameraTintSetting|adoptedNeutral|whiteLuminance): (.*)$/;

function isAp0(found: Chromaticities | null): boolean {
  const list = ({ red, green, blue, white }: Chromaticities): number[] =>
    [...red, ...green, ...blue, ...white].map(Math.fround);
  return found !== null && list(found).every((value, index) => value === list(AP0)[index]);
}

function saidOf(header: ExrHeader, base: number, aces: boolean): FrameSaid {
  const { attributes, dataWindow: data, displayWindow: display, channels } = header;
  const text = (name: string): string | null => exrValue(attributes, name, 'string');
  const single = (name: string): string | null => {
    const value = exrValue(attributes, name, 'float');
    return value === null ? null : String(value);
  };
  const rate = exrValue(attributes, 'framesPerSecond', 'rational');
  const words = exrValue(attributes, 'timeCode', 'timecode');
  const label = words === null ? null : unpackTimecode(words, base);
  const lines = new Map<string, string>();
  const own: string[] = [];
  for (const line of (text('comments') ?? '').split('\n')) {
    const match = aces ? LINE.exec(line) : null;
    if (match === null) own.push(line);
    else lines.set(match[1] as string, match[2] as string);
  }
  const free = (name: string): string | null => (aces ? (lines.get(name) ?? null) : text(name));
  const comments = own.join('\n');
  return {
    size: `${header.width}x${header.height}`,
    windows: `${data.xMin},${data.yMin} ${data.xMax},${data.yMax} of ${display.xMin},${display.yMin} ${display.xMax},${display.yMax}`,
    channels: channels
      .map(
        ({ name, pixelType, linear, xSampling, ySampling }) =>
          `${name} ${pixelType}${linear || xSampling !== 1 || ySampling !== 1 ? ' otherwise' : ''}`,
      )
      .join(', '),
    compression: header.compression,
    colours: isAp0(exrValue(attributes, 'chromaticities', 'chromaticities')) ? 'ACES2065-1' : 'others',
    pixelAspect: single('pixelAspectRatio') ?? 'none',
    rate: rate === null ? null : formatRatio(ratio(rate.num, rate.den)),
    timecode: label === null ? null : formatTimecode(label),
    reel: text('reelName'),
    owner: text('owner'),
    comments: comments === '' ? null : comments,
    captured: text('capDate'),
    iso: single('isoSpeed'),
    exposure: single('expTime'),
    source: free('sourceFile') === null ? null : `${free('sourceFile')} frame ${Number(free('sourceFrame'))}`,
  };
}

export type Values = Pick<
  FrameMeasured,
  'faults' | 'said' | 'points' | 'spot' | 'notFinite' | 'least' | 'greatest'
>;

/** `base`: of the labels that are expected. */
export async function measureExr(
  bytes: Buffer,
  base: number,
  aces: boolean,
  points: readonly Point[],
  spot: readonly Point[],
): Promise<Values> {
  const source = sourceOfBytes(bytes);
  try {
    const walked = await walkExr(source);
    const { channels, values } = await surveyValues(
      source,
      { points: [...points, ...spot], names: ['R', 'G', 'B'] },
      walked,
    );
    return {
      faults: aces ? acesFaults(bytes, walked.header) : [],
      said: saidOf(walked.header, base, aces),
      points: values.slice(0, 3 * points.length),
      spot: spot.length === 0 ? null : values.slice(3 * points.length),
      notFinite: channels.reduce((sum, channel) => sum + channel.notFinite, 0),
      least: Math.min(...channels.map(({ least }) => least ?? Number.POSITIVE_INFINITY)),
      greatest: Math.max(...channels.map(({ greatest }) => greatest ?? Number.NEGATIVE_INFINITY)),
    };
  } catch (error) {
    if (!(error instanceof FileDamage) && !(error instanceof ExrForeign) && !(error instanceof RangeError))
      throw error;
    return {
      faults: [error.message],
      said: null,
      points: null,
      spot: null,
      notFinite: 0,
      least: Number.POSITIVE_INFINITY,
      greatest: Number.NEGATIVE_INFINITY,
    };
  }
}
