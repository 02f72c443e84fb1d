/** What is wrong with the frames of a sequence taken together, whatever their form. Pure. */
import { type Finding, type FindingSubject, finding } from '../../findings/finding.ts';
import { type SequencePlace, frameName } from '../input.ts';
import { printable } from '../../files/names.ts';
import { type Rate, formatRatio, sameRatio } from '../time/rate.ts';
import { formatTimecode } from '../time/timecode.ts';
import { type SequenceTimecode, rateInHeaders, readsOurselves } from './facts.ts';
import type { FrameDamage } from './read.ts';
import type { ExrStorage, StillHeader } from '../formats/still.ts';
import { exrFormText } from '../formats/exr/source.ts';

/** Ten frames by name, and how many more there are. */
export function damageFindings(
  place: SequencePlace,
  damaged: readonly FrameDamage[],
  subject: FindingSubject,
): Finding[] {
  const inFolder = (name: string): string => (place.folder === '' ? name : `${place.folder}/${name}`);
  const found = damaged.slice(0, 10).map(({ name, why }) =>
    finding('sequence-frame-damaged', `${printable(name)}: ${printable(why)}`, 'a whole frame', {
      ...subject,
      file: inFolder(name),
    }),
  );
  if (damaged.length > 10)
    found.push(
      finding(
        'sequence-frame-damaged',
        `${damaged.length - 10} more frames are damaged, ${damaged.length} in all`,
        'whole frames',
        subject,
      ),
    );
  return found;
}

const READ_EVERYWHERE =
  'OpenEXR of one part in scan lines: channels R, G and B, half or float, without compression or in RLE, ZIPS or ZIP; or in PIZ, with a display window from (0, 0)';

/** Frames in a form of which neither we nor any ffmpeg make the right picture: one finding for each reason. */
export function unreadFindings(
  place: SequencePlace,
  headers: readonly (Pick<StillHeader, 'exr'> | null)[],
  subject: FindingSubject,
): Finding[] {
  if (readsOurselves(headers)) return [];
  const reasons = new Map<string, { count: number; first: number }>();
  for (const [index, header] of headers.entries()) {
    const { unread = null, notOurs = null } = header?.exr ?? {};
    if (unread === null) continue;
    const why =
      header?.exr?.isPlaced && notOurs !== null
        ? `${unread}; our own code does not read it: ${notOurs}`
        : unread;
    const known = reasons.get(why);
    if (known === undefined) reasons.set(why, { count: 1, first: place.first + index });
    else known.count += 1;
  }
  return [...reasons]
    .slice(0, 10)
    .map(([why, { count, first }]) =>
      finding(
        'frames-form-unread',
        printable(`${count} of ${headers.length} frames, the first is ${frameName(place, first)}: ${why}`),
        READ_EVERYWHERE,
        subject,
      ),
    );
}

/** Of a first frame that is whole, in a form that not every build of ffmpeg reads. `said`: by this one. */
export function lackingFinding(exr: ExrStorage, said: string, subject: FindingSubject): Finding {
  return finding(
    'frames-form-unread',
    printable(`${exrFormText(exr)}${exr.long === null ? '' : `; ${exr.long}`}; this ffmpeg says: ${said}`),
    READ_EVERYWHERE,
    subject,
  );
}

/** Null: nobody says, or a finding says why. */
export function decideRate(
  headers: readonly (Pick<StillHeader, 'rate'> | null)[],
  stated: Rate | null,
  subject: FindingSubject,
): { rate: Rate | null; findings: Finding[] } {
  const inHeaders = rateInHeaders(headers);
  if (inHeaders.disagree.length > 0)
    return {
      rate: stated,
      findings: [
        finding(
          'sequence-rate-differs',
          `the frames state ${inHeaders.disagree.map(formatRatio).join(', ')}`,
          'one rate',
          subject,
        ),
      ],
    };
  if (inHeaders.rate !== null && stated !== null && !sameRatio(inHeaders.rate, stated)) {
    return {
      rate: inHeaders.rate,
      findings: [
        finding(
          'sequence-rate-differs',
          `the frames state ${formatRatio(inHeaders.rate)}`,
          `${formatRatio(stated)}, as you state`,
          subject,
        ),
      ],
    };
  }
  const rate = inHeaders.rate ?? stated;
  return {
    rate,
    findings:
      rate === null
        ? [finding('sequence-rate-unknown', 'no rate in any frame and none stated', 'a rate', subject)]
        : [],
  };
}

/** Frames that lie otherwise than they are to be seen: ffmpeg takes them as they are stored. */
export function lyingFindings(
  place: SequencePlace,
  headers: readonly (Pick<StillHeader, 'lies'> | null)[],
  subject: FindingSubject,
): Finding[] {
  const index = headers.findIndex((header) => header?.lies !== undefined);
  return index < 0
    ? []
    : [
        finding(
          'clip-rotation-unsupported',
          `frame ${place.first + index}: ${headers[index]?.lies}`,
          'numbered frames that are stored in one of the eight ways that TIFF and DPX name',
          subject,
        ),
      ];
}

export function timecodeFindings(
  place: SequencePlace,
  timecode: SequenceTimecode,
  subject: FindingSubject,
): Finding[] {
  const findings: Finding[] = [];
  if (timecode.refused !== null)
    findings.push(
      finding(
        'timecode-invalid',
        timecode.refused,
        'a label that exists at the rate of the sequence',
        subject,
      ),
    );
  if (timecode.text !== null)
    findings.push(
      finding(
        'timecode-kept-as-text',
        `${timecode.text} in the first frame`,
        'labels that count every frame once, or every pair of frames, up to 60 a second',
        subject,
      ),
    );
  if (timecode.still)
    findings.push(
      finding(
        'sequence-timecode-static',
        'one label in all frames',
        'a label that counts with the frames',
        subject,
      ),
    );
  if (timecode.break !== null)
    findings.push(
      finding(
        'sequence-timecode-breaks',
        `frame ${place.first + timecode.break.index}: ${timecode.break.found}`,
        formatTimecode(timecode.break.expected),
        subject,
      ),
    );
  return findings;
}
