/** What a decoded frame says of itself, the first of a clip: asked apart from the scan that the facts come from. */
import { z } from 'zod';
import type { MediaTools } from '../../process/locate.ts';
import { runTool } from '../../process/run.ts';
import type { OpenedInput } from '../input.ts';

const answerSchema = z.object({
  frames: z.array(z.object({ chroma_location: z.string().optional() })).default([]),
});
/** A hung volume must not hold the night for ever. */
const STALL_MILLISECONDS = 120_000;

/** Where chroma lies, as ffprobe names it; null: the frame does not say, or none could be decoded. */
export async function firstFrameSiting(
  input: OpenedInput,
  tools: Pick<MediaTools, 'ffprobe'>,
  streamIndex: number,
  signal: AbortSignal,
): Promise<string | null> {
  let text = '';
  await runTool(
    tools.ffprobe.path,
    [
      ...['-hide_banner', '-loglevel', 'error', '-select_streams', String(streamIndex)],
      ...['-read_intervals', '%+#1', '-show_entries', 'frame=chroma_location', '-of', 'json=compact=1'],
      ...input.args,
    ],
    {
      signal,
      stallMilliseconds: STALL_MILLISECONDS,
      onStdout: async (stream) => {
        for await (const chunk of stream) text += (chunk as Buffer).toString('utf8');
      },
    },
  );
  let json: unknown;
  try {
    json = JSON.parse(text);
  } catch {
    return null;
  }
  const answer = answerSchema.safeParse(json);
  const stated = answer.success ? answer.data.frames[0]?.chroma_location : undefined;
  return stated === undefined || stated === 'unspecified' || stated === 'unknown' ? null : stated;
}
