/** Reads the OpenEXR frames of a clip in a thread, by our own code: from their files to a picture in its memory. */
import { pictureChannels, readPlaced } from '../../media/formats/exr/pixels.ts';
import { framePath } from '../../media/raw/sequence.ts';
import { FileDamage } from '../../files/bytes.ts';
import { frameName } from '../../media/input.ts';
import { fileReader } from './file-reader.ts';
import type { FramePoolSetup } from './orders.ts';

/** `pixelFormat`: of the planes, as ffmpeg calls them. What comes back puts a frame, by its index, into the bytes that it is given. */
export function exrReader(
  { rollFolder, place }: NonNullable<FramePoolSetup['files']>,
  {
    width,
    height,
    pixelFormat,
  }: { readonly width: number; readonly height: number; readonly pixelFormat: string },
): (index: number, to: Uint8Array) => void {
  const picture = { width, height, channels: pictureChannels(pixelFormat) };
  const read = fileReader();
  return (index, to) => {
    const number = place.first + index;
    const file = read(framePath(rollFolder, place, number));
    try {
      readPlaced(file, picture, new Float32Array(to.buffer, to.byteOffset, to.length / 4));
    } catch (error) {
      if (!(error instanceof FileDamage)) throw error;
      throw new FileDamage(`${frameName(place, number)}: ${error.message}`);
    }
  };
}
