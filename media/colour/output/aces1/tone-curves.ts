/** The tone curves of ACES 1 (aces-dev 1.3): of the reference rendering, of a cinema's 48 cd/m², and the single one of high dynamic range. */
import { type Spline, prepareSpline } from './spline.ts';

const GREY = 0.18;
const stops = (count: number): number => GREY * 2 ** count;

/** `segmented_spline_c5_fwd`. */
export const referenceCurve = prepareSpline({
  least: { x: stops(-15), y: 1e-4, slope: 0 },
  middle: { x: GREY, y: 4.8 },
  most: { x: stops(18), y: 10000, slope: 0 },
  low: [-4, -4, -3.1573765773, -0.4852499958, 1.8477324706, 1.8477324706],
  high: [-0.7185482425, 2.0810307172, 3.6681241237, 4, 4, 4],
});

/** cd/m² of white and black of a cinema's screen. */
export const CINEMA = { white: 48, black: 0.02 } as const;

/** `segmented_spline_c9_fwd` with the parameters for 48 cd/m². */
export const cinemaCurve = prepareSpline({
  least: { x: referenceCurve(stops(-6.5)), y: CINEMA.black, slope: 0 },
  middle: { x: referenceCurve(GREY), y: 4.8 },
  most: { x: referenceCurve(stops(6.5)), y: CINEMA.white, slope: 0.04 },
  low: [
    -1.6989700043, -1.6989700043, -1.4779, -1.2291, -0.8648, -0.448, 0.00518, 0.4511080334, 0.9113744414,
    0.9113744414,
  ],
  high: [
    0.5154386965, 0.8470437783, 1.1358, 1.3802, 1.5197, 1.5985, 1.6467, 1.6746091357, 1.687873339,
    1.687873339,
  ],
});

/** cd/m² of black, and of grey, with high dynamic range. */
const BLACK = 1e-4;
const MIDDLE = 15;
/** Slope of the curve at its middle, log10 to log10. */
const CONTRAST = 1.55;
const MIDDLE_SHAPE = 4.8;

/** Stops from grey at which a luminance (log10) is reached, and how far the bends lie between middle and ends: two points each. */
const straight = (at: number, [x0, y0]: Pair, [x1, y1]: Pair): number => {
  const part = Math.min(Math.max((at - x0) / (x1 - x0), 0), 1);
  return y0 + (y1 - y0) * part;
};
type Pair = readonly [number, number];

/** The curve with grey at 4.8 cd/m², moved along the stops. */
function singleStage(white: number, shift: number): Spline {
  const leastStop = straight(Math.log10(BLACK), [-4, -15], [Math.log10(0.02), -6.5]);
  const mostStop = straight(Math.log10(white), [Math.log10(48), 6.5], [4, 18]);
  const [least, most] = [stops(leastStop), stops(mostStop)];
  const middleY = Math.log10(MIDDLE_SHAPE);
  const [leastY, mostY] = [Math.log10(BLACK), Math.log10(white)];
  const lowKnot = (Math.log10(GREY) - Math.log10(least)) / 3;
  const highKnot = (Math.log10(most) - Math.log10(GREY)) / 3;
  const lowBend = leastY + straight(leastStop, [-15, 0.18], [-6.5, 0.35]) * (middleY - leastY);
  const highBend = middleY + straight(mostStop, [6.5, 0.89], [18, 0.9]) * (mostY - middleY);
  const about = (knot: number): Pair => [middleY - (CONTRAST * knot) / 2, middleY + (CONTRAST * knot) / 2];
  const [lowBefore, lowAfter] = about(lowKnot);
  const [highBefore, highAfter] = about(highKnot);
  return {
    least: { x: least * 2 ** shift, y: BLACK, slope: 0 },
    middle: { x: GREY * 2 ** shift, y: MIDDLE_SHAPE },
    most: { x: most * 2 ** shift, y: white, slope: 0 },
    low: [leastY, leastY, lowBend, lowBefore, lowAfter, lowAfter],
    high: [highBefore, highAfter, highBend, mostY, mostY, mostY],
  };
}

/** `ssts` of the transforms “nits_15nits”: the curve is moved so that grey lands on 15 cd/m². */
export function highRangeCurve(white: number): (x: number) => number {
  const unmoved = prepareSpline(singleStage(white, 0));
  // The curve ascends strictly between its ends: halve until the two are one.
  let [low, high] = [GREY, stops(6)];
  for (let step = 0; step < 60; step += 1) {
    const middle = Math.sqrt(low * high);
    if (unmoved(middle) < MIDDLE) low = middle;
    else high = middle;
  }
  return prepareSpline(singleStage(white, -Math.log2(low / GREY)));
}
export const HIGH_RANGE_BLACK = BLACK;
