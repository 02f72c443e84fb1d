/**
 * The chunk `iXML` of a sound file: what the recorder says of the take. An open specification (iXML 3, root BWFXML; all its elements are optional); names of elements from memory,
 * held against files in the form that recorders write. Words that are not read take nothing from the samples.
 */
import { childOf, parseXml, XmlError, type XmlNode } from '../../../files/manifest/xml.ts';
import type { TakeFacts, TrackFacts } from './header.ts';

/** A recorder of many tracks writes some ten thousand bytes. */
export const MOST_IXML_BYTES = 4 * 1024 * 1024;
/** Longer ones are no words of a person. */
const MOST_CHARACTERS = 2000;

function textOf(node: XmlNode | undefined): string | null {
  const text = node?.text.trim() ?? '';
  return text === '' ? null : text.slice(0, MOST_CHARACTERS);
}

const isTrue = (node: XmlNode | undefined): boolean => /^true$/i.test(textOf(node) ?? '');

function numberOf(node: XmlNode | undefined): number | null {
  const text = textOf(node) ?? '';
  const value = Number(text);
  return /^\d{1,9}$/.test(text) && value > 0 ? value : null;
}

function tracksOf(root: XmlNode): TrackFacts[] {
  const list = childOf(root, 'TRACK_LIST')?.children.filter(({ name }) => name === 'TRACK') ?? [];
  return list
    .flatMap((track): TrackFacts[] => {
      const channel = numberOf(childOf(track, 'INTERLEAVE_INDEX'));
      return channel === null ? [] : [{ channel, name: textOf(childOf(track, 'NAME')) }];
    })
    .sort((one, other) => one.channel - other.channel);
}

/** A text says why it is not read. */
export function takeIn(bytes: Buffer): TakeFacts | string {
  // Recorders fill the chunk up with zeros, so that it can grow.
  const end = bytes.indexOf(0);
  try {
    const root = parseXml(end < 0 ? bytes : bytes.subarray(0, end));
    if (root.name !== 'BWFXML') return `iXML of another kind, <${root.name}>`;
    const set = childOf(root, 'FILE_SET');
    const uid = set === undefined ? null : textOf(childOf(set, 'FAMILY_UID'));
    const files = set === undefined ? null : numberOf(childOf(set, 'TOTAL_FILES'));
    const speed = childOf(root, 'SPEED');
    return {
      scene: textOf(childOf(root, 'SCENE')),
      take: textOf(childOf(root, 'TAKE')),
      tape: textOf(childOf(root, 'TAPE')),
      note: textOf(childOf(root, 'NOTE')),
      circled: isTrue(childOf(root, 'CIRCLED')),
      wild: isTrue(childOf(root, 'WILD_TRACK')),
      tracks: tracksOf(root),
      family:
        set === undefined || uid === null || files === null || files < 2
          ? null
          : { uid, index: indexOf(textOf(childOf(set, 'FILE_SET_INDEX'))) },
      timestampRate: speed === undefined ? null : numberOf(childOf(speed, 'TIMESTAMP_SAMPLE_RATE')),
    };
  } catch (error) {
    if (error instanceof XmlError) return `iXML that cannot be read: ${error.message}`;
    throw error;
  }
}

/** A number from 1, or a letter from A; 1 where it is neither. */
function indexOf(text: string | null): number {
  if (text !== null && /^\d{1,4}$/.test(text)) return Math.max(1, Number(text));
  return text !== null && /^[A-Z]$/i.test(text) ? text.toUpperCase().charCodeAt(0) - 64 : 1;
}
