/** What a recorder says of a take in the chunk `iXML` (iXML specification, revision 3.01; elements from memory), whole, filled up, odd and broken. */
import { describe, expect, test } from 'vitest';
import { takeIn } from '../../media/formats/wave/ixml.ts';

const document = (body: string): Buffer =>
  Buffer.from(
    `<?xml version="1.0" encoding="UTF-8"?>\n<BWFXML><IXML_VERSION>3.01</IXML_VERSION>${body}</BWFXML>`,
  );
const tracks = `<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>
  <TRACK><CHANNEL_INDEX>4</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Lav &amp; coat</NAME><FUNCTION/></TRACK>
  <TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Boom</NAME></TRACK>
</TRACK_LIST>`;
const nothing = {
  ...{ scene: null, take: null, tape: null, note: null, circled: false, wild: false },
  ...{ tracks: [], family: null, timestampRate: null },
};

test('scene, take, roll, note, marks, tracks and rates are read', () => {
  const said = document(
    `<SCENE>12A</SCENE><TAKE>3</TAKE><TAPE>S001</TAPE><CIRCLED>TRUE</CIRCLED><WILD_TRACK>FALSE</WILD_TRACK><NOTE> hammer at the end </NOTE>
     <SPEED><FILE_SAMPLE_RATE>48048</FILE_SAMPLE_RATE><TIMESTAMP_SAMPLE_RATE>48000</TIMESTAMP_SAMPLE_RATE></SPEED>
     <FILE_SET><TOTAL_FILES>2</TOTAL_FILES><FAMILY_UID>F77</FAMILY_UID><FILE_SET_INDEX>B</FILE_SET_INDEX></FILE_SET>${tracks}`,
  );
  expect(takeIn(said)).toEqual({
    ...{ scene: '12A', take: '3', tape: 'S001', note: 'hammer at the end', circled: true, wild: false },
    tracks: [
      { channel: 1, name: 'Boom' },
      { channel: 2, name: 'Lav & coat' },
    ],
    family: { uid: 'F77', index: 2 },
    timestampRate: 48_000,
  });
});

test.each([
  ['says nothing', document('')],
  ['is filled up with zeros', Buffer.concat([document(''), Buffer.alloc(4096)])],
  ['has words without any letter', document('<SCENE>  </SCENE><TAKE/>')],
  [
    'is one file of one',
    document('<FILE_SET><TOTAL_FILES>1</TOTAL_FILES><FAMILY_UID>F</FAMILY_UID></FILE_SET>'),
  ],
  [
    'has numbers that are none',
    document('<SPEED><TIMESTAMP_SAMPLE_RATE>48k</TIMESTAMP_SAMPLE_RATE></SPEED>'),
  ],
])('a chunk that %s gives nothing', (_what, bytes) => {
  expect(takeIn(bytes)).toEqual(nothing);
});

describe('what is not read', () => {
  test.each([
    ['breaks off', document('<SCENE>12').subarray(0, -9)],
    ['is of another kind', Buffer.from('<OTHER/>')],
    ['is empty', Buffer.alloc(64)],
    ['has entities of its own', Buffer.from('<!DOCTYPE a [<!ENTITY b "c">]><BWFXML>&b;</BWFXML>')],
    ['is no text', Buffer.from([0xff, 0xfe, 0xfd, 0x80])],
    ['nests without end', Buffer.from('<BWFXML>'.repeat(500))],
  ])('a chunk that %s says so, and stops nothing', (_what, bytes) => {
    expect(takeIn(bytes)).toEqual(
      expect.stringMatching(/^iXML (?:that cannot be read: .+|of another kind, .+)$/),
    );
  });
});
