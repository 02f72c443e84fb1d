/**
 * The written list of Matroska: which elements may stand in a deliverable, by their place, and how their contents are read. Source: RFC 8794 (EBML header,
 * CRC-32, Void) and RFC 9559, 5.1 (all others), by their names there.
 */
import { children, type Element, elementAt, float, identifier, text, unsigned, VOID } from './ebml.ts';

/** `master`: holds elements. `identifier`: a number of 64 bits, as its decimal digits. */
type Form = 'master' | 'unsigned' | 'identifier' | 'float' | 'text' | 'binary';

export interface SaidElement {
  /** `Tracks/TrackEntry[1]/Video/PixelWidth`; an element that is not on the list has its identifier for a name. */
  readonly path: string;
  readonly listed: boolean;
  /** Byte of the file where it begins. */
  readonly at: number;
  readonly bytes: number;
  /** Digits of what is binary; null of what holds elements. */
  readonly value: number | string | null;
}

interface Entry {
  readonly name: string;
  readonly form: Form;
  readonly below?: ReadonlyMap<number, Entry>;
}
const unsignedOf = (name: string): Entry => ({ name, form: 'unsigned' });
const identifierOf = (name: string): Entry => ({ name, form: 'identifier' });
const floatOf = (name: string): Entry => ({ name, form: 'float' });
const textOf = (name: string): Entry => ({ name, form: 'text' });
const binaryOf = (name: string): Entry => ({ name, form: 'binary' });
const masterOf = (name: string, below: readonly (readonly [id: number, entry: Entry])[]): Entry => ({
  name,
  form: 'master',
  below: new Map(below),
});

const colour = masterOf('Colour', [
  [0x55b1, unsignedOf('MatrixCoefficients')],
  [0x55b7, unsignedOf('ChromaSitingHorz')],
  [0x55b8, unsignedOf('ChromaSitingVert')],
  [0x55b9, unsignedOf('Range')],
  [0x55ba, unsignedOf('TransferCharacteristics')],
  [0x55bb, unsignedOf('Primaries')],
]);
const track = masterOf('TrackEntry', [
  [0xd7, unsignedOf('TrackNumber')],
  [0x73c5, identifierOf('TrackUID')],
  [0x83, unsignedOf('TrackType')],
  [0x9c, unsignedOf('FlagLacing')],
  [0x88, unsignedOf('FlagDefault')],
  [0x22b59c, textOf('Language')],
  [0x23e383, unsignedOf('DefaultDuration')],
  [0x86, textOf('CodecID')],
  [0x63a2, binaryOf('CodecPrivate')],
  [
    0xe0,
    masterOf('Video', [
      [0xb0, unsignedOf('PixelWidth')],
      [0xba, unsignedOf('PixelHeight')],
      [0x9a, unsignedOf('FlagInterlaced')],
      [0x9d, unsignedOf('FieldOrder')],
      [0x54b0, unsignedOf('DisplayWidth')],
      [0x54ba, unsignedOf('DisplayHeight')],
      [0x54b2, unsignedOf('DisplayUnit')],
      [0x55b0, colour],
    ]),
  ],
  [
    0xe1,
    masterOf('Audio', [
      [0x9f, unsignedOf('Channels')],
      [0xb5, floatOf('SamplingFrequency')],
      [0x6264, unsignedOf('BitDepth')],
    ]),
  ],
]);

/** RFC 8794, 11.2. */
export const ebmlHeader = masterOf('EBML', [
  [0x4286, unsignedOf('EBMLVersion')],
  [0x42f7, unsignedOf('EBMLReadVersion')],
  [0x42f2, unsignedOf('EBMLMaxIDLength')],
  [0x42f3, unsignedOf('EBMLMaxSizeLength')],
  [0x4282, textOf('DocType')],
  [0x4287, unsignedOf('DocTypeVersion')],
  [0x4285, unsignedOf('DocTypeReadVersion')],
]);

/** Parts of the segment, by their identifiers. Clusters have a reader of their own (matroska.ts). */
export const listedParts: ReadonlyMap<number, Entry> = new Map([
  [
    0x114d9b74,
    masterOf('SeekHead', [
      [
        0x4dbb,
        masterOf('Seek', [
          [0x53ab, binaryOf('SeekID')],
          [0x53ac, unsignedOf('SeekPosition')],
        ]),
      ],
    ]),
  ],
  [
    0x1549a966,
    masterOf('Info', [
      [0x2ad7b1, unsignedOf('TimestampScale')],
      [0x4d80, textOf('MuxingApp')],
      [0x5741, textOf('WritingApp')],
      [0x4489, floatOf('Duration')],
      [0x73a4, binaryOf('SegmentUUID')],
    ]),
  ],
  [0x1654ae6b, masterOf('Tracks', [[0xae, track]])],
  [
    0x1254c367,
    masterOf('Tags', [
      [
        0x7373,
        masterOf('Tag', [
          [
            0x63c0,
            masterOf('Targets', [
              [0x63c5, identifierOf('TagTrackUID')],
              [0x68ca, unsignedOf('TargetTypeValue')],
            ]),
          ],
          [
            0x67c8,
            masterOf('SimpleTag', [
              [0x45a3, textOf('TagName')],
              [0x4487, textOf('TagString')],
              [0x447a, textOf('TagLanguage')],
              [0x4484, unsignedOf('TagDefault')],
            ]),
          ],
        ]),
      ],
    ]),
  ],
  [
    0x1c53bb6b,
    masterOf('Cues', [
      [
        0xbb,
        masterOf('CuePoint', [
          [0xb3, unsignedOf('CueTime')],
          [
            0xb7,
            masterOf('CueTrackPositions', [
              [0xf7, unsignedOf('CueTrack')],
              [0xf1, unsignedOf('CueClusterPosition')],
              [0xf0, unsignedOf('CueRelativePosition')],
            ]),
          ],
        ]),
      ],
    ]),
  ],
]);

/** Elements of which there may be several: they have numbers. */
const several: readonly string[] = ['Seek', 'TrackEntry', 'Tag', 'SimpleTag', 'CuePoint'];

function contentOf(bytes: Buffer, element: Element, form: Form): SaidElement['value'] {
  if (form === 'unsigned') return unsigned(bytes, element);
  if (form === 'identifier') return identifier(bytes, element);
  if (form === 'float') return float(bytes, element);
  if (form === 'text') return text(bytes, element);
  return form === 'binary' ? bytes.toString('hex', element.start, element.end) : null;
}

/** RFC 8794, 11.3.1. */
const CRC_32 = 0xbf;

/** Whether the first thing in a part is a checksum of the rest; ebml.ts has held it to its bytes. */
export const hasChecksum = (bytes: Buffer): boolean => bytes.length >= 6 && bytes[0] === CRC_32;

/** Padding within a master, which `children` leaves out. */
function* padding(bytes: Buffer, parent: Pick<Element, 'start' | 'end'>): Generator<Element> {
  for (let at = parent.start; at < parent.end; ) {
    const element = elementAt(bytes, at, 0, parent.end);
    if (element.id === VOID) yield element;
    at = element.end;
  }
}

/**
 * Everything that a part says. `bytes`: its content, which begins at byte `base` of the file. Throws MatroskaError for what cannot be
 * followed, and for a number that is none.
 */
export function describePart(bytes: Buffer, base: number, entry: Entry): SaidElement[] {
  const said: SaidElement[] = [];
  const walk = (within: Entry, path: string, parent: Pick<Element, 'start' | 'end'>): void => {
    const counts = new Map<string, number>();
    for (const { at, start, end } of padding(bytes, parent))
      said.push({ path: `${path}/Void`, listed: false, at: base + at, bytes: end - start, value: null });
    for (const element of children(bytes, parent)) {
      const known = within.below?.get(element.id);
      const name = known?.name ?? `0x${element.id.toString(16)}`;
      const number = (counts.get(name) ?? 0) + 1;
      counts.set(name, number);
      const here = `${path}/${several.includes(name) || number > 1 ? `${name}[${number}]` : name}`;
      const twice = number > 1 && !several.includes(name);
      said.push({
        path: here,
        listed: known !== undefined && !twice,
        at: base + element.at,
        bytes: element.end - element.start,
        value: known === undefined ? null : contentOf(bytes, element, known.form),
      });
      if (known?.form === 'master') walk(known, here, element);
    }
  };
  walk(entry, entry.name, { start: 0, end: bytes.length });
  return said;
}
