/** What lies beside the frames of a master, or beside a movie: its ACES Metadata File, and the input transform as a file of the Common LUT Format. */
import { writeFile } from 'node:fs/promises';
import { fsPath } from '../../files/names.ts';
import { readTransform } from '../../ledger/transform.ts';
import { clfText } from '../../media/colour/clf-writer.ts';
import type { WithAmf } from '../../profiles/master/with-amf.ts';
import { rawTransform } from '../../profiles/master/raw-transform.ts';
import { amfText } from './amf.ts';
import { developmentText } from './attributes.ts';

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
