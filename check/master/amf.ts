/**
 * The ACES Metadata File beside the frames or the movie, read strictly: every element in its place by acesMetadataFile.xsd (version 2), every word by
 * the outcome, nothing besides. And the input transform beside it: the file that the metadata name by its digest, which gives at many
 * code values what the way of the frames gives.
 */
import { createHash } from 'node:crypto';
import { parseXml, type XmlNode } from '../../files/manifest/xml.ts';
import type { AmfLook, NamedTransform } from '../../profiles/master/amf-looks.ts';
import { frameFileName } from '../../profiles/master/frame-name.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { developmentOf } from './expected.ts';
import { type AmfFault, CLF_TOLERANCE, clfProbes, judgeTransform } from './clf-values.ts';
import { judgeLookFiles } from './look-files.ts';
import type { CompanionsMeasured } from './measured.ts';
import type { ToSceneLinear } from './scene-linear.ts';

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

const CDL = '{urn:ASC:CDL:v1.01}';

/** A transform that the registry has, or a file two folders up from the frames, one from a movie, called by the first digits of its digest. */
function namedLines(by: NamedTransform, at: string, outcome: WithAmf): string[] {
  if (by.kind === 'id') return [`${at}/transformId ${by.id}`];
  const up = outcome.kind === 'movie' ? '..' : '../..';
  return [
    `${at}/hash[algorithm=http://www.w3.org/2001/04/xmlenc#sha256] ${Buffer.from(by.sha256, 'hex').toString('base64')}`,
    `${at}/file ${up}/reports/transforms/${by.sha256.slice(0, 16)}.clf`,
  ];
}

function lookLines(look: AmfLook, at: string, outcome: WithAmf): string[] {
  const lines = [`${at}[applied=false]`, `${at}/description ${look.description}`];
  if (look.what !== 'cdl') return [...lines, ...namedLines(look.by, at, outcome)];
  const { slope, offset, power, saturation } = look.values;
  const space = `${at}/cdlWorkingSpace`;
  const sop = `${at}/${CDL}SOPNode`;
  return [
    ...lines,
    space,
    `${space}/toCdlWorkingSpace`,
    ...namedLines(look.to, `${space}/toCdlWorkingSpace`, outcome),
    `${space}/fromCdlWorkingSpace`,
    ...namedLines(look.from, `${space}/fromCdlWorkingSpace`, outcome),
    sop,
    `${sop}/${CDL}Slope ${slope.join(' ')}`,
    `${sop}/${CDL}Offset ${offset.join(' ')}`,
    `${sop}/${CDL}Power ${power.join(' ')}`,
    `${at}/${CDL}SatNode`,
    `${at}/${CDL}SatNode/${CDL}Saturation ${saturation}`,
  ];
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
    if (name === 'archivedPipeline') continue;
    for (const look of amf.looks) lines.push(...lookLines(look, `${at}/lookTransform`, outcome));
    if (amf.output === null) continue;
    const output = `${at}/outputTransform`;
    lines.push(`${output}[applied=false]`, `${output}/description ${amf.output.description}`);
    const { by } = amf.output;
    if (by.kind === 'pair') {
      lines.push(`${output}/referenceRenderingTransform`);
      lines.push(`${output}/referenceRenderingTransform/transformId ${by.rendering}`);
      lines.push(
        `${output}/outputDeviceTransform`,
        `${output}/outputDeviceTransform/transformId ${by.device}`,
      );
    } else lines.push(...namedLines(by, output, outcome));
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

export interface AmfVerdict {
  readonly measured: string;
  readonly expected: string;
  readonly faults: readonly AmfFault[];
}

/** null: the way of the frames is not known, and the file of the transform cannot be held against it. */
export function judgeCompanions(
  { amf, clf, kept }: CompanionsMeasured,
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
      const judged = judgeTransform(clf, {
        name: clfName,
        probes: clfProbes(outcome.linearisation.kind),
        wanted: sceneLinear,
      });
      faults.push(...judged.faults);
      values = `; ${clfName} at ${clfProbes(outcome.linearisation.kind).length} code values, at worst ${judged.worst.toFixed(2)} of what is allowed`;
    }
  }
  const looks = judgeLookFiles(outcome.amf, kept);
  faults.push(...looks.faults);
  return {
    measured: `${amf === null ? `no ${file}` : `${file}, ${amf.length} bytes`}${values}${looks.measured}`,
    expected: `${file}: version 2, ${outcome.amf.archived === null ? 'ACES2065-1' : 'ACEScct'}, as it was decided${clfName === null ? '' : `; ${clfName}: the values of the input transform, to ${CLF_TOLERANCE.relative} of them`}`,
    faults,
  };
}
