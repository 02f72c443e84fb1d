/** How far apart the pictures of two movies are, so that a fault that was missed can be judged. */
import { runForOutput } from '../../process/run.ts';

async function luma(path: string): Promise<{ bytes: Buffer; size: number }> {
  const decode = [
    '-v',
    'quiet',
    '-nostdin',
    '-i',
    `file:${path}`,
    '-map',
    '0:v',
    '-fps_mode',
    'passthrough',
    '-pix_fmt',
    'gray',
  ];
  const { stdout } = await runForOutput('ffmpeg', [...decode, '-f', 'rawvideo', '-'], {
    limitBytes: 1 << 30,
  });
  const probe = await runForOutput('ffprobe', [
    '-v',
    'quiet',
    '-select_streams',
    'v:0',
    '-show_entries',
    'stream=width,height',
    '-of',
    'csv=p=0',
    `file:${path}`,
  ]);
  const [width = 0, height = 0] = probe.stdout.toString('utf8').trim().split(',').map(Number);
  return { bytes: stdout, size: width * height };
}

/** In words: how many pictures differ, and the mean difference of luma (of 255) of the one that differs most. */
export async function pictureDistance(good: string, spoiled: string): Promise<string> {
  const [one, other] = await Promise.all([luma(good), luma(spoiled)]);
  if (one.size !== other.size || one.bytes.length !== other.bytes.length || one.size === 0)
    return `${one.bytes.length} bytes of luma, ${other.bytes.length} when spoiled`;
  const count = one.bytes.length / one.size;
  const means = Array.from({ length: count }, (_, index) => {
    let sum = 0;
    for (let at = index * one.size; at < (index + 1) * one.size; at += 1)
      sum += Math.abs((one.bytes[at] as number) - (other.bytes[at] as number));
    return sum / one.size;
  });
  const most = Math.max(...means);
  return `${means.filter((mean) => mean > 0).length} of ${count} pictures differ in luma, picture ${means.indexOf(most)} most: by ${most.toFixed(2)} of 255 on the mean`;
}
