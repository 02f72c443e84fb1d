/**
 * The ACES Metadata File beside the frames or the movie, read strictly: every element in its place by acesMetadataFile.xsd (version 2), every word by
 * the outcome, nothing besides. And the input transform beside it: the file that the metadata name by its digest, which gives at many
 * code values what the way of the frames gives.
 */
import { createHash } from 'node:crypto';
import { parseXml, type XmlNode } from '../../files/manifest/xml.ts';
import { clfSteps } from '../../media/colour/clf.ts';
import { evaluate } from '../../media/colour/evaluate.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { developmentOf } from './expected.ts';
import type { CompanionsMeasured } from './measured.ts';
import type { ToSceneLinear } from './scene-linear.ts';

export interface AmfFault {
  readonly code: 'amf-differs' | 'amf-transform-differs';
  readonly found: string;
  readonly expected: string;
}

/** An element as a line: its path, its attributes in order of their names, its own text. */
const SPACE = 'urn:ampas:aces:amf:v2.0';
const blank = (text: string): boolean => /^[ \t\r\n]*$/.test(text);

function linesOf(node: XmlNode, path: string, lines: string[]): void {
  const here = `${path}/${node.namespace === SPACE ? '' : `{${node.namespace}}`}${node.name}`;
  const attributes = Object.entries(node.attributes)
    .sort(([a], [b]) => (a < b ? -1 : 1))
    .map(([name, value]) => `[${name}=${value}]`)
    .join('');
  const text = node.children.length > 0 && blank(node.text) ? '' : ` ${node.text}`;
  lines.push(`${here}${attributes}${text}`);
  for (const child of node.children) linesOf(child, here, lines);
}

const shown = (line: string | undefined): string =>
  line === undefined ? 'nothing more' : line.length > 300 ? `${line.slice(0, 300)}…` : line;

/** The movie by its name, or the frames by the pattern of theirs. */
function placeLine(outcome: WithAmf): string {
  if (outcome.kind === 'movie') return `file ${encodeURI(outcome.fileName)}`;
  const { stem, extension } = outcome;
  const number = (name: string): string => name.slice(stem.length + 1, -extension.length - 1);
  const [first, last] = [frameFileName(outcome, 0), frameFileName(outcome, outcome.frames - 1)].map(number);
  const mark = [...'#@%$'].find((one) => !stem.includes(one)) ?? '';
  const pattern = `${stem}.${(first ?? '').replace(/\d/g, () => mark)}.${extension}`;
  return `sequence[idx=${mark}][max=${Number(last)}][min=${Number(first)}] ${pattern}`;
}

/** What the file must say, line by line. `clf`: digest of the transform beside it, hex. */
function wantedLines(outcome: WithAmf, clf: string | null): string[] {
  const { amf } = outcome;
  const root = '/acesMetadataFile';
  const lines = [`${root}[version=2.0]`];
  const moments = (at: string): void => {
    lines.push(`${at}/dateTime`);
    for (const which of ['creation', 'modification'])
      lines.push(`${at}/dateTime/${which}DateTime ${amf.created}`);
  };
  lines.push(`${root}/amfInfo`);
  lines.push(
    `${root}/amfInfo/description Dates: ${amf.isCreatedStated ? 'when the clip was recorded' : 'not known'}`,
  );
  moments(`${root}/amfInfo`);
  lines.push(`${root}/amfInfo/uuid urn:uuid:${amf.uuid}`);
  lines.push(
    `${root}/clipId`,
    `${root}/clipId/clipName ${amf.clipName}`,
    `${root}/clipId/${placeLine(outcome)}`,
  );
  const pipelines = [
    ['pipeline', amf.pipeline] as const,
    ...(amf.archived === null ? [] : [['archivedPipeline', amf.archived] as const]),
  ];
  for (const [name, { uuid, input }] of pipelines) {
    const at = `${root}/${name}`;
    lines.push(at, `${at}/pipelineInfo`);
    moments(`${at}/pipelineInfo`);
    lines.push(`${at}/pipelineInfo/uuid urn:uuid:${uuid}`, `${at}/pipelineInfo/systemVersion`);
    for (const [part, value] of [
      ['major', 2],
      ['minor', 0],
      ['patch', 0],
    ])
      lines.push(`${at}/pipelineInfo/systemVersion/${part}Version ${value}`);
    const of = `${at}/inputTransform`;
    // Frames of log values are brought to ACES2065-1 by whoever reads them; what made them is behind that.
    const isWorking = name === 'pipeline' && amf.archived !== null;
    lines.push(`${of}[applied=${!isWorking}]`);
    lines.push(
      `${of}/description ${isWorking ? `ACEScct, as the ${outcome.kind === 'movie' ? 'movie holds' : 'frames hold'} it, to ACES2065-1` : developmentOf(outcome.linearisation)}`,
    );
    if (input.by.kind === 'id') lines.push(`${of}/transformId ${input.by.id}`);
    else {
      lines.push(
        `${of}/hash[algorithm=http://www.w3.org/2001/04/xmlenc#sha256] ${clf === null ? 'of a file that is not there' : Buffer.from(clf, 'hex').toString('base64')}`,
      );
      lines.push(`${of}/file ${encodeURI(amf.clf ?? '')}`);
    }
  }
  // XML 1.0 has no place for control characters and halves of pairs.
  return lines.map((line) => line.replace(/[\p{Cc}\p{Cs}\uFFFE\uFFFF]/gu, '?'));
}

function judgeText(bytes: Buffer, outcome: WithAmf, clf: string | null): AmfFault[] {
  const { file } = outcome.amf;
  const found: string[] = [];
  try {
    linesOf(parseXml(bytes), '', found);
  } catch (error) {
    return [
      {
        code: 'amf-differs',
        found: `${file}: ${(error as Error).message}`,
        expected: 'an ACES Metadata File',
      },
    ];
  }
  const wanted = wantedLines(outcome, clf);
  const at = wanted.findIndex((line, index) => found[index] !== line);
  const first = at >= 0 ? at : found.length > wanted.length ? wanted.length : -1;
  return first < 0
    ? []
    : [{ code: 'amf-differs', found: `${file}: ${shown(found[first])}`, expected: shown(wanted[first]) }];
}

/** How far the file's values may lie from those of the transform, in parts of the largest channel, and beside that in the dark (docs/amf.md). */
export const CLF_TOLERANCE = { relative: 2e-4, absolute: 1e-6 } as const;

/** Code values at which both are asked: greys, primaries, and points that fill the cube evenly. Raw stays below what is full in no channel. */
export function clfProbes(kind: 'coded' | 'raw'): readonly (readonly [number, number, number])[] {
  const [from, to] = kind === 'raw' ? [0, 0.5] : [-0.05, 1.1];
  const at = (part: number): number => from + (to - from) * part;
  const greys = Array.from({ length: 65 }, (_, index): [number, number, number] => {
    const value = at(index / 64);
    return [value, value, value];
  });
  // Additive recurrence with the root of x^4 = x + 1: three coordinates that stay apart from each other.
  const root = 1.2207440846057596;
  const spread = Array.from({ length: 600 }, (_, index): [number, number, number] => {
    const part = (power: number): number => at(((index + 1) / root ** power + 0.5) % 1);
    return [part(1), part(2), part(3)];
  });
  return [...greys, [at(1), from, from], [from, at(1), from], [from, from, at(1)], ...spread];
}

function judgeTransform(
  bytes: Buffer,
  outcome: WithAmf,
  sceneLinear: ToSceneLinear,
): { worst: number; faults: AmfFault[] } {
  const name = outcome.amf.clf ?? '';
  let steps: ReturnType<typeof clfSteps>;
  try {
    steps = clfSteps(bytes);
  } catch (error) {
    return {
      worst: Number.POSITIVE_INFINITY,
      faults: [
        {
          code: 'amf-transform-differs',
          found: `${name}: ${(error as Error).message}`,
          expected: 'a file of the Common LUT Format',
        },
      ],
    };
  }
  let worst = 0;
  let fault: AmfFault | null = null;
  for (const [r, g, b] of clfProbes(outcome.linearisation.kind)) {
    const found = evaluate({ steps }, r, g, b);
    const wanted = sceneLinear(r, g, b);
    const size = Math.max(...wanted.map(Math.abs));
    const allowed = CLF_TOLERANCE.relative * size + CLF_TOLERANCE.absolute;
    for (const channel of [0, 1, 2] as const) {
      const off = Math.abs(found[channel] - wanted[channel]) / allowed;
      if (off <= worst) continue;
      worst = off;
      // What is no number compares with nothing.
      if (off > 1)
        fault = {
          code: 'amf-transform-differs',
          found: `${name}: ${found.join(' ')} at ${[r, g, b].join(' ')}`,
          expected: wanted.join(' '),
        };
    }
    if (found.some(Number.isNaN))
      return {
        worst: Number.POSITIVE_INFINITY,
        faults: [
          {
            code: 'amf-transform-differs',
            found: `${name}: no number at ${[r, g, b].join(' ')}`,
            expected: wanted.join(' '),
          },
        ],
      };
  }
  return { worst, faults: fault === null ? [] : [fault] };
}

export interface AmfVerdict {
  readonly measured: string;
  readonly expected: string;
  readonly faults: readonly AmfFault[];
}

/** null: the way of the frames is not known, and the file of the transform cannot be held against it. */
export function judgeCompanions(
  { amf, clf }: CompanionsMeasured,
  outcome: WithAmf,
  sceneLinear: ToSceneLinear | null,
): AmfVerdict | null {
  const { file, clf: clfName } = outcome.amf;
  if (clfName !== null && sceneLinear === null) return null;
  const faults: AmfFault[] = [];
  const sha256 = clf === null ? null : createHash('sha256').update(clf).digest('hex');
  if (amf === null) faults.push({ code: 'amf-differs', found: `no ${file}`, expected: file });
  else faults.push(...judgeText(amf, outcome, sha256));
  let values = '';
  if (clfName !== null && sceneLinear !== null) {
    if (clf === null)
      faults.push({ code: 'amf-transform-differs', found: `no ${clfName}`, expected: clfName });
    else {
      const judged = judgeTransform(clf, outcome, sceneLinear);
      faults.push(...judged.faults);
      values = `; ${clfName} at ${clfProbes(outcome.linearisation.kind).length} code values, at worst ${judged.worst.toFixed(2)} of what is allowed`;
    }
  }
  return {
    measured: `${amf === null ? `no ${file}` : `${file}, ${amf.length} bytes`}${values}`,
    expected: `${file}: version 2, ${outcome.amf.archived === null ? 'ACES2065-1' : 'ACEScct'}, as it was decided${clfName === null ? '' : `; ${clfName}: the values of the input transform, to ${CLF_TOLERANCE.relative} of them`}`,
    faults,
  };
}
