/** Measures a sequence: every header, then facts and findings. */
import { append } from '../../findings/append.ts';
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import { type ClipReaders, readersHere } from '../../media/raw/clip-readers.ts';
import type { ClipFacts } from '../../media/facts.ts';
import type { SequencePlace } from '../../media/input.ts';
import { printable } from '../../files/names.ts';
import type { RawDecoder } from '../../media/raw/decoders/decoder.ts';
import { surveyDng } from '../../media/raw/facts.ts';
import { sequenceFacts, timecodeInHeaders } from '../../media/sequence/facts.ts';
import {
  damageFindings,
  decideRate,
  lackingFinding,
  lyingFindings,
  timecodeFindings,
  unreadFindings,
} from '../../media/sequence/judge.ts';
import { chromaticitiesText, isPartlyRead } from '../../media/formats/exr/source.ts';
import type { StillHeader } from '../../media/formats/still.ts';
import type { MediaTools } from '../../process/locate.ts';
import { lacksDecoder } from './codecs.ts';

/** Channels that decide which pixel format ffmpeg makes of a frame. */
const PIXEL_CHANNELS = ['R', 'G', 'B', 'A', 'Y'];

function shapeOf({ format, width, height, kind, exr, orientation }: StillHeader): string {
  const lies = orientation === undefined ? '' : `, lying by orientation ${orientation}`;
  const shape = `${format} ${width}x${height} ${kind}${lies}`;
  if (exr === undefined) return shape;
  const channels = exr.channels.filter((name) => PIXEL_CHANNELS.includes(name)).join(', ');
  const primaries = exr.chromaticities === null ? '' : `, ${chromaticitiesText(exr.chromaticities)}`;
  return `${shape}, channels ${channels === '' ? 'of other names' : channels}${primaries}`;
}

function shapeFindings(headers: readonly (StillHeader | null)[], subject: FindingSubject): Finding[] {
  const shapes = new Map<string, number>();
  for (const header of headers)
    if (header !== null) shapes.set(shapeOf(header), (shapes.get(shapeOf(header)) ?? 0) + 1);
  if (shapes.size < 2) return [];
  const list = [...shapes].sort((a, b) => b[1] - a[1]).slice(0, 5);
  return [
    finding(
      'sequence-rasters-differ',
      list.map(([shape, count]) => `${count} of ${shape}`).join(', '),
      'frames of one size and form',
      subject,
    ),
  ];
}

export interface SequenceSurvey {
  readonly rollFolder: string;
  readonly place: SequencePlace;
  readonly tools: Pick<MediaTools, 'ffprobe'>;
  readonly subject: FindingSubject;
}

export async function surveySequence(
  { rollFolder, place, tools, subject }: SequenceSurvey,
  options: { signal?: AbortSignal; decoders?: readonly RawDecoder[]; readers?: ClipReaders } = {},
): Promise<{ facts: ClipFacts | null; findings: Finding[] }> {
  if (place.suffix.toLowerCase() === '.dng')
    return await surveyDng(rollFolder, place, place.statedRate, {
      subject,
      ...(options.decoders === undefined ? {} : { decoders: options.decoders }),
      ...(options.signal === undefined ? {} : { signal: options.signal }),
      ...(options.readers === undefined ? {} : { readers: options.readers }),
    });
  const { readers = readersHere, signal } = options;
  const reading = await readers.stills(rollFolder, place, signal === undefined ? {} : { signal });
  const { rate, findings: rateFindings } = decideRate(reading.headers, place.statedRate, subject);
  const findings = [
    ...damageFindings(place, reading.damaged, subject),
    ...shapeFindings(reading.headers, subject),
    ...lyingFindings(place, reading.headers, subject),
    ...rateFindings,
  ];
  const unread = unreadFindings(place, reading.headers, subject);
  append(findings, unread);
  if (rate === null || reading.headers[0] === null) return { facts: null, findings };
  const timecode = timecodeInHeaders(reading.headers, rate);
  append(findings, timecodeFindings(place, timecode, subject));
  if (unread.length > 0) return { facts: null, findings };
  const { facts, why, errors } = await sequenceFacts({ rollFolder, place, reading, rate }, tools, options);
  const exr = reading.headers[0]?.exr;
  const said = why ?? errors[0] ?? null;
  // The header and the table of chunks are whole, or the frame would be among the damaged.
  if (exr !== undefined && isPartlyRead(exr) && said !== null)
    return { facts: null, findings: [...findings, lackingFinding(exr, errors[0] ?? said, subject)] };
  if (facts === null)
    findings.push(
      (await lacksDecoder(tools.ffprobe.path, reading.headers[0]?.format ?? 'unknown'))
        ? finding('clip-no-decoder', printable(why), 'frames that this ffmpeg decodes', subject)
        : finding('clip-picture-unreadable', printable(why), 'frames that decode', subject),
    );
  return { facts, findings };
}
