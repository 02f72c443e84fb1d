/** Survey: which clips a roll holds (find.ts, pure), and what is measured of each, a scan of every packet or every frame's header. */
import pLimit from 'p-limit';
import { blocks, type Finding, finding } from '../../findings/finding.ts';
import type { Clip } from '../../ledger/clip.ts';
import type { ClipReaders } from '../../media/raw/clip-readers.ts';
import type { ClipFacts } from '../../media/facts.ts';
import { frameName, openInput } from '../../media/input.ts';
import { printable } from '../../files/names.ts';
import { probeMovie } from '../../media/probe/index.ts';
import type { LoadedDecoder } from '../../media/raw/decoders/declared/programs.ts';
import type { RawDecoder } from '../../media/raw/decoders/decoder.ts';
import type { Rate } from '../../media/time/rate.ts';
import { HelperDied } from '../../process/helper.ts';
import type { MediaTools } from '../../process/locate.ts';
import { lacksDecoder } from './codecs.ts';
import { surveyDeclared } from './declared.ts';
import { joinParts, type SpannedClipPlace } from './join-parts.ts';
import { findingOfProblem, judgeMovie } from './movie.ts';
import { surveySequence } from './sequence.ts';
import { contentOfFile } from './signatures.ts';

export { findClips, type FindOptions, type FoundClips, namelessPaths } from './find.ts';

export interface SurveyedClip {
  readonly clip: Clip;
  /** Null: could not be measured; a finding says why. */
  readonly facts: ClipFacts | null;
  readonly findings: Finding[];
}

export interface SurveyOptions {
  readonly signal?: AbortSignal;
  /** Decoders of raw frames, the first that takes a clip serves it; our own alone when absent. */
  readonly decoders?: readonly RawDecoder[];
  /** The declared decoder that gives the pictures of a file; null: ffmpeg does, or a raw decoder. */
  readonly declared?: (path: string) => LoadedDecoder | null;
  /** What reads headers; this process itself when absent. */
  readonly readers?: ClipReaders;
  /** Where a declared decoder does not tell the rate of a movie. */
  readonly statedRate?: Rate | null;
}

/** Each part alone, then whether they are one. */
async function surveySpanned(
  {
    clip,
    place,
    rollFolder,
    tools,
  }: {
    readonly clip: Clip;
    readonly place: SpannedClipPlace;
    readonly rollFolder: string;
    readonly tools: Pick<MediaTools, 'ffprobe'>;
  },
  options: SurveyOptions,
): Promise<Omit<SurveyedClip, 'clip'>> {
  const measured: ClipFacts[] = [];
  const findings: Finding[] = [];
  for (const { file } of place.parts) {
    const part: Clip = { ...clip, place: { kind: 'movie', file } };
    const one = await surveyClip(part, rollFolder, tools, options);
    findings.push(...one.findings.map((item) => ({ ...item, file: item.file ?? file })));
    if (one.facts !== null) measured.push(one.facts);
  }
  if (measured.length < place.parts.length || findings.some(blocks)) return { facts: null, findings };
  const joined = joinParts(place, measured, { clip: clip.id });
  return { facts: joined.facts, findings: [...findings, ...joined.findings] };
}

/**
 * Measures one clip. What is wrong with the clip comes back as findings (with its id). Throws FindingError when a
 * program fails, and the signal's reason when stopped.
 */
export async function surveyClip(
  clip: Clip,
  rollFolder: string,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: SurveyOptions = {},
): Promise<Omit<SurveyedClip, 'clip'>> {
  const subject = { clip: clip.id };
  const { place } = clip;
  if (place.kind === 'spanned') return await surveySpanned({ clip, place, rollFolder, tools }, options);
  try {
    const declared =
      options.declared?.(place.kind === 'movie' ? place.file : frameName(place, place.first)) ?? null;
    if (declared !== null)
      return await surveyDeclared(
        {
          clip: { ...clip, place },
          rollFolder,
          decoder: declared,
          statedRate: options.statedRate ?? null,
          subject,
        },
        options.signal,
      );
    if (place.kind === 'sequence')
      return await surveySequence({ rollFolder, place, tools, subject }, options);
    const input = await openInput(rollFolder, place);
    const result = await probeMovie(input, tools, options).finally(() => input.dispose());
    if (result.state === 'problem') {
      const { problem, detail, codec = 'unknown' } = result;
      // A damaged header makes no other thing of a movie, and a codec that the build decodes asks for no other build.
      const isMovie =
        problem === 'not-media' && (await contentOfFile(`${rollFolder}/${place.file}`))?.kind === 'movie';
      const isBuild = problem === 'no-decoder' && (await lacksDecoder(tools.ffprobe.path, codec));
      const code = isMovie
        ? 'unreadable'
        : problem === 'no-decoder' && !isBuild
          ? 'picture-unreadable'
          : problem;
      return { facts: null, findings: [findingOfProblem(code, detail, subject)] };
    }
    return { facts: result.facts, findings: judgeMovie(result.facts, result.evidence, subject) };
  } catch (error) {
    options.signal?.throwIfAborted();
    if (error instanceof HelperDied)
      return {
        facts: null,
        findings: [
          finding(
            'clip-reader-died',
            printable(error.message),
            'a file that can be read to its end',
            subject,
          ),
        ],
      };
    // The file system's word on this one clip; the others go on.
    if ((error as NodeJS.ErrnoException).syscall === undefined) throw error;
    return {
      facts: null,
      findings: [
        finding('clip-unreadable', printable((error as Error).message), 'a file that can be opened', subject),
      ],
    };
  }
}

/** Measures several clips at once and keeps their order. `onClip` is called with each as it ends. */
export async function surveyRoll(
  clips: readonly Clip[],
  rollFolder: string,
  tools: Pick<MediaTools, 'ffprobe'>,
  options: SurveyOptions & { readonly atOnce?: number; readonly onClip?: (done: SurveyedClip) => void } = {},
): Promise<SurveyedClip[]> {
  const limit = pLimit(options.atOnce ?? 2);
  const failed = new AbortController();
  const signal =
    options.signal === undefined ? failed.signal : AbortSignal.any([options.signal, failed.signal]);
  const settled = await Promise.allSettled(
    clips.map((clip) =>
      limit(async () => {
        signal.throwIfAborted();
        try {
          const done = { clip, ...(await surveyClip(clip, rollFolder, tools, { ...options, signal })) };
          options.onClip?.(done);
          return done;
        } catch (error) {
          // One failing program ends the survey: no other is left running behind the caller's back.
          failed.abort(error);
          throw error;
        }
      }),
    ),
  );
  options.signal?.throwIfAborted();
  if (failed.signal.aborted) throw failed.signal.reason;
  return settled.map((one) => (one as PromiseFulfilledResult<SurveyedClip>).value);
}
