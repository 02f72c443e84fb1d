/** Which level of the sensor is which light of the scene. */
import type { Anchor } from '../../interpretation.ts';

/**
 * Factor on values of which the clip level is 1.
 *
 * sensor: a neutral at the clip level is 1.0.
 *
 * metered: a grey card, exposed as the camera's meter says, is 0.18. By ISO 12232 a speed of S means that the metered mean, taken as the grey
 * card of 18 %, gives 10/S lux seconds, and that the sensor is full at 78/S (saturation-based speed; both numbers from memory): the card lies at 10/78
 * of the clip level, half a stop below 0.18. Where a camera protects highlights, its BaselineExposure says so and comes on top.
 */
export const anchorFactor: Readonly<Record<Anchor, number>> = { sensor: 1, metered: (0.18 * 78) / 10 };
