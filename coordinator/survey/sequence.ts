/** Measures a sequence: every header, then facts and findings. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { SequencePlace } from '../../media/input.ts';
import { printable } from '../../media/names.ts';
import { sequenceFacts, timecodeInHeaders } from '../../media/sequence/facts.ts';
import { damageFindings, decideRate, timecodeFindings } from '../../media/sequence/judge.ts';
import { readSequence } from '../../media/sequence/read.ts';
import type { StillHeader } from '../../media/sequence/still.ts';
import type { MediaTools } from '../../media/tools/locate.ts';

function shapeOf(header: StillHeader): string {
  return `${header.format} ${header.width}x${header.height} ${header.kind}`;
}

function shapeFindings(headers: readonly (StillHeader | null)[], subject: FindingSubject): Finding[] {
  const shapes = new Map<string, number>();
  for (const header of headers) if (header !== null) shapes.set(shapeOf(header), (shapes.get(shapeOf(header)) ?? 0) + 1);
  if (shapes.size < 2) return [];
  const list = [...shapes].sort((a, b) => b[1] - a[1]).slice(0, 5);
  return [finding('sequence-rasters-differ', list.map(([shape, count]) => `${count} of ${shape}`).join(', '), 'frames of one size and form', subject)];
}

function kindFinding(headers: readonly (StillHeader | null)[], subject: FindingSubject): Finding[] {
  const first = headers.find((header) => header !== null);
  if (first?.kind === 'camera-raw') return [finding('stills-camera-raw', `${first.format} with sensor values`, 'frames that can be looked at as they are', subject)];
  return [];
}

export async function surveySequence(place: SequencePlace, rollFolder: string, tools: Pick<MediaTools, 'ffprobe'>, subject: FindingSubject, options: { signal?: AbortSignal }): Promise<{ facts: ClipFacts | null; findings: Finding[] }> {
  const reading = await readSequence(rollFolder, place, options);
  const { rate, findings: rateFindings } = decideRate(reading.headers, place.statedRate, subject);
  const findings = [...damageFindings(place, reading.damaged, subject), ...shapeFindings(reading.headers, subject), ...kindFinding(reading.headers, subject), ...rateFindings];
  if (rate === null || reading.headers[0] === null) return { facts: null, findings };
  const timecode = timecodeInHeaders(reading.headers, rate);
  findings.push(...timecodeFindings(place, timecode, subject));
  const { facts, why } = await sequenceFacts(rollFolder, place, reading, rate, tools, options);
  // Raw frames are held already, and often beyond ffmpeg; that they cannot be decoded is no second fault.
  if (facts === null && !findings.some((item) => item.code === 'stills-camera-raw')) findings.push(finding('clip-no-decoder', printable(why), 'frames that this ffmpeg decodes', subject));
  return { facts, findings };
}
