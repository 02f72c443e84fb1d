/** Whether two copies are two, decided from mounts as Linux writes them. The texts are of proc(5)'s form; shares and drives that this machine cannot mount are written by hand. */
import { describe, expect, test } from 'vitest';
import { type CopyPlace, relationOf } from '../../coordinator/intake/apart.ts';
import { tellApart } from '../../coordinator/intake/tell-apart.ts';
import { type Mount, mountNumber, readMounts } from '../../files/mounts.ts';
import { layersOf, serverOf, storageKind } from '../../files/storage.ts';

const text = `26 1 254:0 / / rw,relatime - ext4 /dev/vda rw,discard
40 26 8:17 / /volumes/raid rw,relatime shared:1 master:2 - ext4 /dev/sdb1 rw
41 26 8:33 / /volumes/card\\040copy rw - exfat /dev/sdc1 rw,uid=1000
42 26 0:50 / /mnt/nas rw - nfs4 nas:/rushes rw,vers=4.2
43 26 0:51 / /mnt/nas-again rw - nfs4 10.0.0.4:/rushes rw,vers=4.1
44 26 0:52 / /mnt/share rw - cifs //vault/day rw,serverino
45 26 0:53 / /mnt/share2 rw - cifs //vault/other rw,noserverino
46 26 0:54 / /mnt/over rw - overlay overlay rw,lowerdir=/low\\072er:/b,upperdir=/up,workdir=/w
47 26 0:55 / /mnt/fuse rw - fuse.merged one:two rw
48 26 8:33 /day-07 /mnt/inner rw - exfat /dev/sdc1 rw,uid=1000
49 26 0:56 / /mnt/far rw - fuse.sshfs dit@far.local:/day rw
a line of a form that nobody knows
`;
const mounts = readMounts(text);
const mount = (point: string): Mount => {
  const found = mounts.find((one) => one.point === point);
  if (found === undefined) throw new Error(`no mount at ${point}`);
  return found;
};

/** A copy with two files; `first`: number of the first. */
function copyOn(point: string, folder: string, first: number, more: Partial<CopyPlace> = {}): CopyPlace {
  const at = mount(point);
  return {
    folder: `${point}/${folder}`,
    mount: at,
    inner: `${at.root === '/' ? '' : at.root}/${folder}`,
    drive: `drive ${at.device}`,
    layersSeen: false,
    files: new Map([
      ['one.mov', [`${at.device}:${first}`]],
      ['two.mov', [`${at.device}:${first + 1}`]],
    ]),
    ...more,
  };
}

describe('mountinfo', () => {
  test('is read with escaped names, optional fields and unknown lines', () => {
    expect(mounts).toHaveLength(11);
    expect(mount('/volumes/card copy')).toMatchObject({ type: 'exfat', device: '8:33', source: '/dev/sdc1' });
    expect(mount('/volumes/raid')).toMatchObject({ type: 'ext4', root: '/' });
    expect(mountNumber('pos:\t0\nflags:\t0100000\nmnt_id:\t41\nino:\t2\n')).toBe(41);
    expect(mountNumber('pos:\t0\n')).toBeNull();
  });

  test('says whose numbers last', () => {
    const kinds = mounts.map(({ point, type, options }) => [point, storageKind({ type, options })]);
    expect(Object.fromEntries(kinds)).toEqual({
      '/': 'local',
      '/volumes/raid': 'local',
      '/volumes/card copy': 'numberless',
      '/mnt/nas': 'network',
      '/mnt/nas-again': 'network',
      '/mnt/share': 'network',
      '/mnt/share2': 'network-numberless',
      '/mnt/over': 'stacked',
      '/mnt/fuse': 'stacked',
      '/mnt/inner': 'numberless',
      '/mnt/far': 'network-numberless',
    });
    expect(layersOf(mount('/mnt/over'))).toEqual(['/up', '/low', 'er', '/b']);
    expect(layersOf({ type: 'overlay', options: ['lowerdir=/low\\:er::/data', 'lowerdir+=/c'] })).toEqual([
      '/low:er',
      '/data',
      '/c',
    ]);
    expect(['/mnt/nas', '/mnt/share', '/mnt/far', '/'].map((point) => serverOf(mount(point)))).toEqual([
      'nas',
      'vault',
      'far.local',
      null,
    ]);
  });
});

/** Of two copies: what they are to each other. */
const pairs: [what: string, a: CopyPlace, b: CopyPlace, kind: string][] = [
  ['two folders of one drive', copyOn('/', 'a', 10), copyOn('/', 'b', 20), 'one-drive'],
  ['one hard link of two', copyOn('/', 'a', 10), copyOn('/', 'b', 11), 'same'],
  ['two drives with the same numbers', copyOn('/', 'a', 10), copyOn('/volumes/raid', 'b', 10), 'apart'],
  [
    'two folders of one exFAT drive',
    copyOn('/volumes/card copy', 'a', 10),
    copyOn('/volumes/card copy', 'b', 10),
    'one-drive',
  ],
  [
    'one exFAT folder under two mounts',
    copyOn('/volumes/card copy', 'day-07/A001', 10),
    copyOn('/mnt/inner', 'A001', 90),
    'same',
  ],
  ['an exFAT drive and another', copyOn('/volumes/card copy', 'a', 10), copyOn('/', 'a', 10), 'apart'],
  [
    'one share under two names, by its numbers',
    copyOn('/mnt/nas', 'a', 10),
    copyOn('/mnt/nas-again', 'a', 10),
    'unknown',
  ],
  ['two shares with other numbers', copyOn('/mnt/nas', 'a', 10), copyOn('/mnt/nas-again', 'a', 30), 'apart'],
  [
    'two shares of one server without numbers',
    copyOn('/mnt/share', 'a', 10),
    copyOn('/mnt/share2', 'a', 30),
    'unknown',
  ],
  [
    'shares of two servers, one without numbers',
    copyOn('/mnt/far', 'a', 10),
    copyOn('/mnt/share2', 'a', 30),
    'apart',
  ],
  ['an overlay whose layers cannot be seen', copyOn('/mnt/over', 'a', 10), copyOn('/', 'a', 10), 'unknown'],
  [
    'an overlay whose layers are others',
    copyOn('/mnt/over', 'a', 10, { layersSeen: true }),
    copyOn('/', 'a', 30),
    'apart',
  ],
  [
    'an overlay over the copy itself',
    copyOn('/mnt/over', 'a', 10, {
      layersSeen: true,
      files: new Map([['one.mov', ['0:54:10', '254:0:30']]]),
    }),
    copyOn('/', 'a', 30),
    'same',
  ],
  ['two folders of one overlay', copyOn('/mnt/over', 'a', 10), copyOn('/mnt/over', 'b', 20), 'one-drive'],
  ['a program that shows folders', copyOn('/mnt/fuse', 'a', 10), copyOn('/', 'a', 30), 'unknown'],
  ['two folders of that program', copyOn('/mnt/fuse', 'a', 10), copyOn('/mnt/fuse', 'b', 20), 'unknown'],
  [
    'a system without a list of mounts, other numbers',
    copyOn('/', 'a', 10, { mount: null }),
    copyOn('/', 'b', 20, { mount: null, drive: 'file system 2' }),
    'apart',
  ],
  [
    'a system without a list of mounts, one number',
    copyOn('/', 'a', 10, { mount: null }),
    copyOn('/', 'b', 10, { mount: null }),
    'same',
  ],
];

test.each(pairs)('%s', (_, a, b, kind) => {
  expect(relationOf(a, b).kind).toBe(kind);
  expect(relationOf(b, a).kind).toBe(kind);
});

test('three copies, one of them not told apart, count as two, and each says what it is', () => {
  const told = tellApart(
    [copyOn('/mnt/nas', 'a', 10), copyOn('/mnt/nas-again', 'a', 10), copyOn('/', 'a', 5)],
    'A001',
  );
  expect([...told.oneWith]).toEqual([['/mnt/nas-again/a', '/mnt/nas/a']]);
  expect(told.findings.map(({ code, copy }) => [code, copy])).toEqual([
    ['copy-not-told-apart', '/mnt/nas-again/a'],
  ]);
});
