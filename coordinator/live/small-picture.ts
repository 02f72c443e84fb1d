/** A still as the live page has it: small, as JPEG. Pure. */
import { jpegOf } from '../../handover/picture/jpeg.ts';
import { fittedInto } from '../../handover/picture/picture.ts';
import { reduced, shownAs } from '../../handover/picture/scale.ts';
import type { StillLight } from '../../handover/picture/still.ts';

const BOX = { width: 640, height: 640 };
const QUALITY = 80;

export const smallPicture = (light: StillLight): Buffer =>
  jpegOf(shownAs(light.inBt709(reduced(light, fittedInto(light, BOX)))), QUALITY);
