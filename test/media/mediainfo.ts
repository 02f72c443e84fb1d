/** What MediaInfo, a reader that shares no code with ffmpeg, says of a file. */
import { runForOutput } from '../../process/run.ts';

export type Track = Readonly<Record<string, string>> & { readonly '@type': string };

export async function mediainfo(path: string): Promise<{ video: Track; audio: Track[]; other: Track[] }> {
  const run = await runForOutput('mediainfo', ['--Output=JSON', path], { stallMilliseconds: 60_000 });
  if (run.reason !== 'exited' || run.exitCode !== 0)
    throw new Error(`mediainfo, which these tests need, did not answer: ${run.startError ?? run.stderr}`);
  const { media } = JSON.parse(run.stdout.toString('utf8')) as { media: { track: Track[] } };
  const of = (type: string): Track[] => media.track.filter((track) => track['@type'] === type);
  return { video: of('Video')[0] as Track, audio: of('Audio'), other: of('Other') };
}
