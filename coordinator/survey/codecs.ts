/** Whether this build of ffmpeg decodes a codec: asked only where no frame of a clip could be found. */
import { runForAnswer } from '../../process/answer.ts';

/** `ffprobe -codecs` writes one line a codec: ` D` when a decoder of it is in the build, five more flags, the codec's name. */
export function decodedCodecs(list: string): ReadonlySet<string> {
  return new Set([...list.matchAll(/^ D[A-Z.]{5} (\S+)/gm)].map((match) => match[1] as string));
}

/** False too for a codec without a name: no build can be asked for it. False when the list cannot be had whole: nothing is said against the build. */
export async function lacksDecoder(ffprobe: string, codec: string): Promise<boolean> {
  const run = await runForAnswer(ffprobe, ['-hide_banner', '-codecs'], { stallMilliseconds: 20_000 });
  const list = decodedCodecs(run.text);
  return (
    run.whole &&
    list.size > 0 &&
    /^[a-z0-9_]+$/.test(codec) &&
    !['unknown', 'none'].includes(codec) &&
    !list.has(codec)
  );
}
