/** What is to be said of a measured movie. Pure: from evidence to findings. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { FindingCode } from '../../findings/registry.ts';
import type { AudioFacts, ClipFacts, VideoFacts } from '../../media/facts.ts';
import type { ProbeEvidence, ProbeProblem } from '../../media/probe/index.ts';

/** `picture-unreadable`: the codec is none that the build lacks, and yet no frame could be had. */
type ClipProblem = ProbeProblem | 'picture-unreadable';

const PROBLEM_CODES: Readonly<Record<ClipProblem, readonly [code: FindingCode, expected: string]>> = {
  empty: ['clip-empty', 'a movie'],
  'no-index': ['clip-no-index', 'an index (moov)'],
  playlist: ['clip-playlist', 'a movie'],
  'not-media': ['clip-not-media', 'a movie'],
  unreadable: ['clip-unreadable', 'a file that ffprobe reads'],
  'answer-cut-off': ['clip-answer-cut-off', 'a whole answer'],
  'no-picture': ['clip-no-picture', 'a picture'],
  'no-decoder': ['clip-no-decoder', 'a picture that this ffmpeg decodes'],
  'no-frames': ['clip-no-frames', 'frames to show'],
  'picture-unreadable': ['clip-picture-unreadable', 'a picture with frames that decode'],
};

export function findingOfProblem(problem: ClipProblem, detail: string, subject: FindingSubject): Finding {
  const [code, expected] = PROBLEM_CODES[problem];
  return finding(code, detail, expected, subject);
}

/** The ways in which a file can be shorter than its own index, each with its numbers. */
function shortage(video: VideoFacts, evidence: ProbeEvidence): { found: string; expected: string } | null {
  const { fileBytes, declaredBytes, furthestByte, picturePackets } = evidence;
  if (video.claimedFrames !== null && picturePackets < video.claimedFrames)
    return {
      found: `${picturePackets} frames of picture`,
      expected: `${video.claimedFrames} frames, as the header claims`,
    };
  if (declaredBytes !== null && declaredBytes > fileBytes)
    return {
      found: `${fileBytes} bytes`,
      expected: `at least ${declaredBytes} bytes, as the file's structure says`,
    };
  if (furthestByte > fileBytes)
    return { found: `${fileBytes} bytes`, expected: `${furthestByte} bytes, where the last packet ends` };
  return null;
}

/** What begins further from the picture's beginning is for each profile to fit or to refuse. Half a frame, in samples, compared without dividing. */
function offsetFinding(
  track: AudioFacts,
  index: number,
  video: VideoFacts,
  subject: FindingSubject,
): Finding | null {
  const offset = Math.abs(track.startOffset);
  const beyond =
    2n * BigInt(offset) * BigInt(video.rate.num) > BigInt(track.sampleRate) * BigInt(video.rate.den);
  if (offset === 0 || beyond) return null;
  return finding(
    'audio-offset-small',
    `audio track ${index + 1} starts ${offset} samples (${((offset * 1000) / track.sampleRate).toFixed(1)} ms) ${track.startOffset > 0 ? 'after' : 'before'} the picture`,
    'audio and picture start together',
    subject,
  );
}

export function judgeMovie(facts: ClipFacts, evidence: ProbeEvidence, subject: FindingSubject): Finding[] {
  const { video } = facts;
  const found: (Finding | null)[] = [];
  const short = shortage(video, evidence);
  if (short !== null) found.push(finding('clip-truncated', short.found, short.expected, subject));
  else if (!evidence.closed)
    found.push(
      finding('clip-not-closed', 'no footer and no closed header', 'a file that was closed', subject),
    );
  if (short === null && (evidence.readErrors.length > 0 || evidence.markedPackets > 0)) {
    found.push(
      finding(
        'clip-read-errors',
        evidence.readErrors[0] ?? `${evidence.markedPackets} packets are marked as damaged`,
        'no error',
        subject,
      ),
    );
  }
  if (video.claimedFrames !== null && video.claimedFrames < evidence.picturePackets)
    found.push(
      finding(
        'clip-claims-less',
        `${evidence.picturePackets} frames counted`,
        `${video.claimedFrames} claimed`,
        subject,
      ),
    );
  const hidden = evidence.picturePackets - video.frames;
  if (hidden > 0)
    found.push(
      finding(
        'clip-hidden-frames',
        `${hidden} of ${evidence.picturePackets} frames are hidden`,
        'every frame shown',
        subject,
      ),
    );
  if (evidence.pictures > 1)
    found.push(
      finding(
        'clip-several-pictures',
        `${evidence.pictures} picture streams, stream ${video.streamIndex} is used`,
        'one picture stream',
        subject,
      ),
    );
  if (!evidence.turnsByQuarters)
    found.push(
      finding(
        'clip-rotation-unsupported',
        'a display matrix that does more than mirror and turn by quarters',
        'a picture that is mirrored or not, and turned by 0, 90, 180 or 270 degrees',
        subject,
      ),
    );
  if (evidence.refusedTimecode !== null)
    found.push(
      finding(
        'timecode-invalid',
        evidence.refusedTimecode,
        'a label that exists at the rate of the clip',
        subject,
      ),
    );
  for (const [index, track] of facts.audio.entries()) found.push(offsetFinding(track, index, video, subject));
  for (const stream of evidence.unknownAudio)
    found.push(
      finding(
        'audio-no-decoder',
        `stream ${stream} is audio of an unknown kind`,
        'audio that this ffmpeg decodes',
        subject,
      ),
    );
  return found.filter((item) => item !== null);
}
