/** What the header of a frame must say, by the outcome alone. */
import { formatRatio } from '../../media/time/rate.ts';
import { addFrames, formatTimecode } from '../../media/time/timecode.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { MasterOutcome } from '../../profiles/master/outcome.ts';
import type { FrameSaid } from './measured.ts';

/** As the writer rounds them: attributes are 32-bit floats. */
const single = (value: number | null): string | null => (value === null ? null : String(Math.fround(value)));

export function saidOf(outcome: MasterOutcome, index: number, source: string): FrameSaid {
  const { width, height, format, said } = outcome;
  const dpx = format === 'dpx';
  const base = outcome.timecode;
  return {
    size: `${width}x${height}`,
    windows: dpx ? `${width}x${height}` : `0,0 ${width - 1},${height - 1} of 0,0 ${width - 1},${height - 1}`,
    channels: dpx ? 'RGB, 10 bits, filled to words' : 'B half, G half, R half',
    compression: outcome.compression,
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
    owner: dpx ? null : said.owner,
    comments: dpx ? null : said.comments,
    captured: dpx ? null : said.captured,
    iso: dpx ? null : single(said.iso),
    exposure: dpx ? null : single(said.exposureSeconds),
    // The field of DPX holds a hundred letters of ASCII; another name is left out of it.
    source: dpx
      ? /^[\x20-\x7e]{1,100}$/.test(frameFileName(outcome, index))
        ? frameFileName(outcome, index)
        : null
      : `${source} frame ${index}`,
  };
}
