/** What lies beside the frames of a master, or beside a movie: its ACES Metadata File, and the input transform as a file of the Common LUT Format. */
import { writeFile } from 'node:fs/promises';
import { fsPath } from '../../files/names.ts';
import { readTransform } from '../../ledger/transform.ts';
import { clfText } from '../../media/colour/clf-writer.ts';
import { matrixStep, type ColourTransform } from '../../media/colour/steps.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import type { Linearisation } from '../../profiles/master/linearisation.ts';
import { amfText } from './amf.ts';
import { developmentText } from './attributes.ts';

/** Of raw frames: camera values to AP0, exposure included. What is full, and colours that were not seen, are the business of frames. */
function rawTransform({ matrix, exposure }: Extract<Linearisation, { kind: 'raw' }>): ColourTransform {
  const row = ([r, g, b]: readonly [number, number, number]): [number, number, number] => [
    exposure * r,
    exposure * g,
    exposure * b,
  ];
  return { steps: [matrixStep([row(matrix[0]), row(matrix[1]), row(matrix[2])])] };
}

const FROM_CAMERA =
  'From linear camera values (0 black, 1 the clip level of the sensor, not white-balanced) to ACES2065-1; without demosaic and highlights. ';

/** Before what they lie beside is checked. `placeOf`: where each is written, by its final name. `rollFolder`: <delivery>/<day>/<roll>. Throws what node:fs throws, and FindingError. */
export async function writeCompanions(
  placeOf: (name: string) => string,
  outcome: WithAmf,
  rollFolder: string,
): Promise<void> {
  const { amf, linearisation } = outcome;
  let clf: Buffer | null = null;
  if (amf.clf !== null) {
    const transform =
      linearisation.kind === 'raw'
        ? rawTransform(linearisation)
        : await readTransform(rollFolder, linearisation);
    if (transform === null) throw new RangeError('code values without a transform');
    const description = `${linearisation.kind === 'raw' ? FROM_CAMERA : 'Input transform, to ACES2065-1. '}${developmentText(linearisation)}`;
    clf = Buffer.from(clfText(transform, { id: `urn:uuid:${amf.pipeline.uuid}`, description }), 'utf8');
    await writeFile(fsPath(placeOf(amf.clf)), clf, { flag: 'wx' });
  }
  await writeFile(fsPath(placeOf(amf.file)), amfText(outcome, clf), { flag: 'wx' });
}
