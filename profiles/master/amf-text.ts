/** The text of an ACES Metadata File, version 2 (S-2019-001; elements and their order by acesMetadataFile.xsd), as it was decided. Pure. */
import type { AmfOutcome, AmfPipeline } from './amf.ts';
import type { AmfLook, NamedTransform } from './amf-looks.ts';

/** What it is about, and where the files are that it names. */
export interface AmfSays {
  readonly amf: AmfOutcome;
  /** How the values came about, in words. */
  readonly input: string;
  /** The same of frames that hold ACEScct, where what was done before is an archived pipeline. */
  readonly working: string;
  /** A file by its name, or numbered frames. */
  readonly of: { readonly file: string } | AmfSequence;
  /** The Common LUT Format file of the input transform, as it is named from here, and its SHA-256; null: there is none. */
  readonly clf: { readonly name: string; readonly sha256: string } | null;
  /** How a file that is named by its SHA-256 is reached from here. */
  readonly placeOf: (sha256: string) => string;
}

export interface AmfSequence {
  /** Before and behind the digits of the number. */
  readonly prefix: string;
  readonly suffix: string;
  readonly digits: number;
  readonly first: number;
  readonly last: number;
}

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
function named(lines: Lines, depth: number, by: NamedTransform, says: AmfSays): void {
  if (by.kind === 'id') {
    lines.add(depth, `<aces:transformId>${escaped(by.id)}</aces:transformId>`);
    return;
  }
  lines.add(depth, hash(by.sha256));
  lines.add(depth, `<aces:file>${escaped(encodeURI(says.placeOf(by.sha256)))}</aces:file>`);
}

function look(lines: Lines, one: AmfLook, says: AmfSays): void {
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
      named(lines, 5, by, says);
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
  } else named(lines, 3, one.by, says);
  lines.add(2, '</aces:lookTransform>');
}

/** Looks in the order in which they are applied, and the output transform: none of them is in the pictures. */
function looks(lines: Lines, says: AmfSays): void {
  for (const one of says.amf.looks) look(lines, one, says);
  const { output } = says.amf;
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
      named(lines, 4, { kind: 'id', id }, says);
      lines.add(3, `</aces:${name}>`);
    }
  else named(lines, 3, by, says);
  lines.add(2, '</aces:outputTransform>');
}

export function amfDocument(says: AmfSays): string {
  const { amf } = says;
  const text: string[] = ['<?xml version="1.0" encoding="UTF-8"?>'];
  const lines: Lines = { add: (depth, line) => void text.push(`${'  '.repeat(depth)}${line}`) };
  const done = { created: amf.created, input: says.input, clf: says.clf };
  const behind = (to: Lines): void => looks(to, says);
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
  lines.add(2, placeText(says.of));
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
          input: says.working,
        },
  );
  if (amf.archived !== null) pipeline(lines, 'archivedPipeline', amf.archived, done);
  lines.add(0, '</aces:acesMetadataFile>');
  return `${text.join('\n')}\n`;
}

/** The frames as a pattern, or the file by its name. */
function placeText(of: AmfSays['of']): string {
  if ('file' in of) return `<aces:file>${escaped(encodeURI(of.file))}</aces:file>`;
  const { prefix, suffix, digits, first, last } = of;
  const mark = markBeside(prefix);
  return `<aces:sequence idx="${mark}" min="${first}" max="${last}">${escaped(`${prefix}${mark.repeat(Math.max(1, digits))}${suffix}`)}</aces:sequence>`;
}

/** What stands for the digits of the number in the pattern of the names: a character that they do not have. */
function markBeside(prefix: string): string {
  const free = ['#', '@', '%', '$'].find((mark) => !prefix.includes(mark));
  if (free === undefined) throw new RangeError(`a name with every mark in it: ${prefix}`);
  return free;
}
