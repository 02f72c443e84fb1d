/** What the settings say of a LUT file becomes an input that names the file by its content. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { readSettings } from '../../coordinator/settings/read.ts';
import { clfSteps } from '../../media/colour/clf.ts';
import { FindingError } from '../../findings/finding.ts';
import { freshFolder } from '../support/folder.ts';

const cube = `LUT_3D_SIZE 2\n${'0 0 0\n'.repeat(8)}`;
const clf = (version: string, namespace: string): string =>
  `<ProcessList xmlns="${namespace}" id="bell" compCLFversion="${version}"><Matrix inBitDepth="32f" outBitDepth="32f"><Array dim="3 3">1 0 0 0 2 0 0 0 3</Array></Matrix></ProcessList>`;

async function inputOf(input: string): Promise<unknown> {
  const folder = freshFolder('settings');
  writeFileSync(join(folder, 'pit.cube'), cube);
  writeFileSync(join(folder, 'pit.clf'), clf('3.0', 'urn:AMPAS:CLF:v3.0'));
  const path = join(folder, 'show.yaml');
  writeFileSync(path, `version: 1\nshow: { input: ${input} }\n`);
  return (await readSettings(path)).file.show?.input;
}

test.each([
  [
    'a .cube file',
    '{ file: ./pit.cube, gives: acescct }',
    { file: 'pit.cube', interpolation: 'tetrahedral' },
  ],
  [
    'a .cube file that is read otherwise',
    '{ file: pit.cube, gives: acescct, interpolation: trilinear }',
    { file: 'pit.cube', interpolation: 'trilinear' },
  ],
  ['a .clf file', '{ file: pit.clf, gives: acescct }', { file: 'pit.clf' }],
])('%s is kept by its name, its SHA-256 and how it is read', async (_, text, wanted) => {
  expect(await inputOf(text)).toEqual({
    ...wanted,
    gives: 'acescct',
    sha256: expect.stringMatching(/^[0-9a-f]{64}$/),
  });
});

test('how to read between places is not said of a .clf file', async () => {
  await expect(inputOf('{ file: pit.clf, gives: acescct, interpolation: tetrahedral }')).rejects.toThrow(
    FindingError,
  );
});

test('a file of ST 2136-1 is the same as one of version 3.0', () => {
  const steps = (version: string, namespace: string): unknown =>
    clfSteps(Buffer.from(clf(version, namespace)));
  expect(steps('ST2136-1:2024', 'http://www.smpte-ra.org/ns/2136-1/2024')).toEqual(
    steps('3.0', 'urn:AMPAS:CLF:v3.0'),
  );
});
