/** The text of an ACES Metadata File, version 2 (S-2019-001; elements and their order by acesMetadataFile.xsd), as it was decided. Pure. */
import { createHash } from 'node:crypto';
import type { AmfPipeline } from '../../profiles/master/amf.ts';
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

/** `input`: how the values came about, where the transform is that of the clip. `clf`: the bytes of the file that it is named by. */
function pipeline(
  lines: Lines,
  name: 'pipeline' | 'archivedPipeline',
  of: AmfPipeline,
  { created, input, clf }: { created: string; input: string; clf: { name: string; sha256: string } | null },
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
    lines.add(
      3,
      `<aces:hash algorithm="http://www.w3.org/2001/04/xmlenc#sha256">${Buffer.from(clf.sha256, 'hex').toString('base64')}</aces:hash>`,
    );
    lines.add(3, `<aces:file>${escaped(encodeURI(clf.name))}</aces:file>`);
  }
  lines.add(2, '</aces:inputTransform>');
  lines.add(1, `</aces:${name}>`);
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
  lines.add(0, '<aces:acesMetadataFile xmlns:aces="urn:ampas:aces:amf:v2.0" version="2.0">');
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
      ? done
      : {
          ...done,
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
