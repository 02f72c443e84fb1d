/**
 * ASC Color Decision List, version 1.2 (American Society of Cinematographers, 2009): slope, offset and power of each channel, then
 * saturation about the luma of BT.709, whatever the space. The same arithmetic as in the ASC_CDL node of Academy S-2014-006 (evaluate.ts).
 */
import { z } from 'zod';
import { acescctOfAp0, ap0OfAcescct } from './acescct.ts';
import { evaluate } from './evaluate.ts';
import type { Triple } from './matrix.ts';
import type { CdlStyle, ColourTransform, Step } from './steps.ts';

const finite = z.number().refine(Number.isFinite, 'must be finite');
const least0 = finite.refine((value) => value >= 0, 'must not be negative');
const above0 = finite.refine((value) => value > 0, 'must be greater than 0');

/** Red, green and blue in every triple. Ranges: ASC CDL 1.2. */
export const cdlSchema = z.strictObject({
  slope: z.tuple([least0, least0, least0]),
  offset: z.tuple([finite, finite, finite]),
  power: z.tuple([above0, above0, above0]),
  saturation: least0,
});
export type Cdl = z.infer<typeof cdlSchema>;

/**
 * Without the limits of version 1.2: in ACEScct, where the lists of ACES shows are made and applied, 1.0 is linear 222.9 and black noise lies
 * below its black; limits of 0 and 1 would cut highlights of the scene. So the appendix of Academy S-2016-001 on ASC CDL has no limit, and no power
 * where slope and offset give less than 0; Academy S-2014-006 calls that form `FwdNoClamp`.
 */
export const STYLE_IN_ACESCCT: CdlStyle = 'FwdNoClamp';

export const cdlStep = (
  { slope, offset, power, saturation }: Cdl,
  style: CdlStyle = STYLE_IN_ACESCCT,
): Step => ({
  kind: 'cdl',
  style,
  slope,
  offset,
  power,
  saturation,
});

/** R'G'B' codes in the space of the list (1.0: full scale) to the same. `Fwd`: with the limits of version 1.2. What is not a number counts as 0. */
export const applyCdl = (cdl: Cdl, rgb: Triple, style: CdlStyle = STYLE_IN_ACESCCT): Triple =>
  evaluate({ steps: [cdlStep(cdl, style)] }, ...rgb);

/** The list as a look of ACES: linear AP0 to linear AP0, by way of ACEScct. */
export const cdlInAcescct = (cdl: Cdl): ColourTransform => ({
  steps: [...acescctOfAp0.steps, cdlStep(cdl), ...ap0OfAcescct.steps],
});
