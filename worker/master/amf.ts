/** The text of an ACES Metadata File, version 2 (S-2019-001; elements and their order by acesMetadataFile.xsd), as it was decided. Pure. */
import { createHash } from 'node:crypto';
import { layout } from '../../ledger/layout.ts';
import type { AmfPipeline } from '../../profiles/master/amf.ts';
import type { AmfLook, NamedTransform } from '../../profiles/master/amf-looks.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { developmentText } from './attributes.ts';

/** What XML 1.0 cannot hold in any spelling becomes a question mark. */
const escaped = (text: string): string =>
  text
    .replaceAll(/[\p{Cc}\p{Cs}\uFFFE\uFFFF]/gu, '?')
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;');

interface Lines {
  add(depth: number, text: string): void;
}

function dates(lines: Lines, depth: number, moment: string): void {
  lines.add(depth, '<aces:dateTime>');
  lines.add(depth + 1, `<aces:creationDateTime>${moment}</aces:creationDateTime>`);
  lines.add(depth + 1, `<aces:modificationDateTime>${moment}</aces:modificationDateTime>`);
  lines.add(depth, '</aces:dateTime>');
}

interface PipelineSays {
  readonly created: string;
  readonly input: string;
  readonly clf: { name: string; sha256: string } | null;
  /** Lines behind the input transform. */
  readonly behind?: (lines: Lines) => void;
}

/** `input`: how the values came about, where the transform is that of the clip. `clf`: the bytes of the file that it is named by. */
function pipeline(
  lines: Lines,
  name: 'pipeline' | 'archivedPipeline',
  of: AmfPipeline,
  { created, input, clf, behind }: PipelineSays,
): void {
  lines.add(1, `<aces:${name}>`);
  lines.add(2, '<aces:pipelineInfo>');
  dates(lines, 3, created);
  lines.add(3, `<aces:uuid>urn:uuid:${of.uuid}</aces:uuid>`);
  lines.add(3, '<aces:systemVersion>');
  lines.add(4, '<aces:majorVersion>2</aces:majorVersion>');
  lines.add(4, '<aces:minorVersion>0</aces:minorVersion>');
  lines.add(4, '<aces:patchVersion>0</aces:patchVersion>');
  lines.add(3, '</aces:systemVersion>');
  lines.add(2, '</aces:pipelineInfo>');
  lines.add(2, `<aces:inputTransform applied="${of.input.applied}">`);
  lines.add(3, `<aces:description>${escaped(input)}</aces:description>`);
  if (of.input.by.kind === 'id')
    lines.add(3, `<aces:transformId>${escaped(of.input.by.id)}</aces:transformId>`);
  else {
    if (clf === null) throw new RangeError('a transform that is named by a file, without the file');
    lines.add(3, hash(clf.sha256));
    lines.add(3, `<aces:file>${escaped(encodeURI(clf.name))}</aces:file>`);
  }
  lines.add(2, '</aces:inputTransform>');
  behind?.(lines);
  lines.add(1, `</aces:${name}>`);
}

const hash = (sha256: string): string =>
  `<aces:hash algorithm="http://www.w3.org/2001/04/xmlenc#sha256">${Buffer.from(sha256, 'hex').toString('base64')}</aces:hash>`;

/** A transform by its identifier, or by a file that is kept beside the reports. */
function named(lines: Lines, depth: number, by: NamedTransform, outcome: WithAmf): void {
  if (by.kind === 'id') {
    lines.add(depth, `<aces:transformId>${escaped(by.id)}</aces:transformId>`);
    return;
  }
  lines.add(depth, hash(by.sha256));
  // Beside the frames of a folder of the profile, or beside a movie in it.
  const up = outcome.kind === 'frames' ? '../../' : '../';
  lines.add(
    depth,
    `<aces:file>${escaped(encodeURI(`${up}${layout.transform(by.sha256, '.clf')}`))}</aces:file>`,
  );
}

function look(lines: Lines, one: AmfLook, outcome: WithAmf): void {
  lines.add(2, '<aces:lookTransform applied="false">');
  lines.add(3, `<aces:description>${escaped(one.description)}</aces:description>`);
  if (one.what === 'cdl') {
    const { slope, offset, power, saturation } = one.values;
    lines.add(3, '<aces:cdlWorkingSpace>');
    for (const [name, by] of [
      ['toCdlWorkingSpace', one.to],
      ['fromCdlWorkingSpace', one.from],
    ] as const) {
      lines.add(4, `<aces:${name}>`);
      named(lines, 5, by, outcome);
      lines.add(4, `</aces:${name}>`);
    }
    lines.add(3, '</aces:cdlWorkingSpace>');
    lines.add(3, '<cdl:SOPNode>');
    lines.add(4, `<cdl:Slope>${slope.join(' ')}</cdl:Slope>`);
    lines.add(4, `<cdl:Offset>${offset.join(' ')}</cdl:Offset>`);
    lines.add(4, `<cdl:Power>${power.join(' ')}</cdl:Power>`);
    lines.add(3, '</cdl:SOPNode>');
    lines.add(3, '<cdl:SatNode>');
    lines.add(4, `<cdl:Saturation>${saturation}</cdl:Saturation>`);
    lines.add(3, '</cdl:SatNode>');
  } else named(lines, 3, one.by, outcome);
  lines.add(2, '</aces:lookTransform>');
}

/** Looks in the order in which they are applied, and the output transform: none of them is in the pictures. */
function looks(lines: Lines, outcome: WithAmf): void {
  for (const one of outcome.amf.looks) look(lines, one, outcome);
  const { output } = outcome.amf;
  if (output === null) return;
  lines.add(2, '<aces:outputTransform applied="false">');
  lines.add(3, `<aces:description>${escaped(output.description)}</aces:description>`);
  const { by } = output;
  if (by.kind === 'pair')
    for (const [name, id] of [
      ['referenceRenderingTransform', by.rendering],
      ['outputDeviceTransform', by.device],
    ] as const) {
      lines.add(3, `<aces:${name}>`);
      named(lines, 4, { kind: 'id', id }, outcome);
      lines.add(3, `</aces:${name}>`);
    }
  else named(lines, 3, by, outcome);
  lines.add(2, '</aces:outputTransform>');
}

/** `clf`: the Common LUT Format file beside it; null: there is none. */
export function amfText(outcome: WithAmf, clf: Buffer | null): string {
  const { amf, linearisation } = outcome;
  const text: string[] = ['<?xml version="1.0" encoding="UTF-8"?>'];
  const lines: Lines = { add: (depth, line) => void text.push(`${'  '.repeat(depth)}${line}`) };
  const file =
    clf === null || amf.clf === null
      ? null
      : { name: amf.clf, sha256: createHash('sha256').update(clf).digest('hex') };
  const done = { created: amf.created, input: developmentText(linearisation), clf: file };
  const behind = (to: Lines): void => looks(to, outcome);
  const spaces = `xmlns:aces="urn:ampas:aces:amf:v2.0"${amf.looks.some(({ what }) => what === 'cdl') ? ' xmlns:cdl="urn:ASC:CDL:v1.01"' : ''}`;
  lines.add(0, `<aces:acesMetadataFile ${spaces} version="2.0">`);
  lines.add(1, '<aces:amfInfo>');
  lines.add(
    2,
    `<aces:description>${amf.isCreatedStated ? 'Dates: when the clip was recorded' : 'Dates: not known'}</aces:description>`,
  );
  dates(lines, 2, amf.created);
  lines.add(2, `<aces:uuid>urn:uuid:${amf.uuid}</aces:uuid>`);
  lines.add(1, '</aces:amfInfo>');
  lines.add(1, '<aces:clipId>');
  lines.add(2, `<aces:clipName>${escaped(amf.clipName)}</aces:clipName>`);
  lines.add(2, placeOf(outcome));
  lines.add(1, '</aces:clipId>');
  pipeline(
    lines,
    'pipeline',
    amf.pipeline,
    amf.archived === null
      ? { ...done, behind }
      : {
          ...done,
          behind,
          input: `ACEScct, as ${outcome.kind === 'movie' ? 'the movie holds it' : 'the frames hold it'}, to ACES2065-1`,
        },
  );
  if (amf.archived !== null) pipeline(lines, 'archivedPipeline', amf.archived, done);
  lines.add(0, '</aces:acesMetadataFile>');
  return `${text.join('\n')}\n`;
}

/** The frames as a pattern, or the movie by its name. */
function placeOf(outcome: WithAmf): string {
  if (outcome.kind === 'movie') return `<aces:file>${escaped(encodeURI(outcome.fileName))}</aces:file>`;
  const { stem, digits, first, frames, extension } = outcome;
  const mark = markBeside(stem);
  return `<aces:sequence idx="${mark}" min="${first}" max="${first + frames - 1}">${escaped(`${stem}.${mark.repeat(digits)}.${extension}`)}</aces:sequence>`;
}

/** What stands for the digits of the number in the pattern of the names: a character that they do not have. */
function markBeside(stem: string): string {
  const free = ['#', '@', '%', '$'].find((mark) => !stem.includes(mark));
  if (free === undefined) throw new RangeError(`a name with every mark in it: ${stem}`);
  return free;
}
