/** Measures a sequence: every header, then facts and findings. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { SequencePlace } from '../../media/input.ts';
import { printable } from '../../media/names.ts';
import { type Rate, formatRatio, sameRatio } from '../../media/rate.ts';
import { rateInHeaders, sequenceFacts, timecodeInHeaders } from '../../media/sequence/facts.ts';
import { type SequenceReading, readSequence } from '../../media/sequence/read.ts';
import type { StillHeader } from '../../media/sequence/still.ts';
import { formatTimecode } from '../../media/timecode.ts';
import type { MediaTools } from '../../media/tools/locate.ts';

function shapeOf(header: StillHeader): string {
  return `${header.format} ${header.width}x${header.height} ${header.kind}`;
}

function damageFindings(place: SequencePlace, reading: SequenceReading, subject: FindingSubject): Finding[] {
  const inFolder = (name: string): string => (place.folder === '' ? name : `${place.folder}/${name}`);
  const found = reading.damaged.slice(0, 10).map(({ name, why }) => finding('sequence-frame-damaged', `${printable(name)}: ${printable(why)}`, 'a whole frame', { ...subject, file: inFolder(name) }));
  if (reading.damaged.length > 10) found.push(finding('sequence-frame-damaged', `${reading.damaged.length - 10} more frames are damaged, ${reading.damaged.length} in all`, 'whole frames', subject));
  return found;
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

function decideRate(headers: readonly (StillHeader | null)[], stated: Rate | null, subject: FindingSubject): { rate: Rate | null; findings: Finding[] } {
  const inHeaders = rateInHeaders(headers);
  if (inHeaders.disagree.length > 0) return { rate: stated, findings: [finding('sequence-rate-differs', `the frames state ${inHeaders.disagree.map(formatRatio).join(', ')}`, 'one rate', subject)] };
  if (inHeaders.rate !== null && stated !== null && !sameRatio(inHeaders.rate, stated)) {
    return { rate: inHeaders.rate, findings: [finding('sequence-rate-differs', `the frames state ${formatRatio(inHeaders.rate)}`, `${formatRatio(stated)}, as you state`, subject)] };
  }
  const rate = inHeaders.rate ?? stated;
  return { rate, findings: rate === null ? [finding('sequence-rate-unknown', 'no rate in any frame and none stated', 'a rate', subject)] : [] };
}

export async function surveySequence(place: SequencePlace, rollFolder: string, tools: Pick<MediaTools, 'ffprobe'>, subject: FindingSubject, options: { signal?: AbortSignal }): Promise<{ facts: ClipFacts | null; findings: Finding[] }> {
  const reading = await readSequence(rollFolder, place, options);
  const { rate, findings: rateFindings } = decideRate(reading.headers, place.statedRate, subject);
  const findings = [...damageFindings(place, reading, subject), ...shapeFindings(reading.headers, subject), ...kindFinding(reading.headers, subject), ...rateFindings];
  if (rate === null || reading.headers[0] === null) return { facts: null, findings };
  const timecode = timecodeInHeaders(reading.headers, rate);
  if (timecode.refused !== null) findings.push(finding('timecode-invalid', timecode.refused, 'a label that exists at the rate of the sequence', subject));
  if (timecode.still) findings.push(finding('sequence-timecode-still', 'one label in all frames', 'a label that counts with the frames', subject));
  if (timecode.break !== null) findings.push(finding('sequence-timecode-breaks', `frame ${place.first + timecode.break.index}: ${timecode.break.found}`, formatTimecode(timecode.break.expected), subject));
  const { facts, why } = await sequenceFacts(rollFolder, place, reading, rate, tools, options);
  // Raw frames are held already, and often beyond ffmpeg; that they cannot be decoded is no second fault.
  if (facts === null && !findings.some((item) => item.code === 'stills-camera-raw')) findings.push(finding('clip-no-decoder', printable(why), 'frames that this ffmpeg decodes', subject));
  return { facts, findings };
}
