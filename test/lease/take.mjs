/** Tries to take the lease of a delivery, so often at once, and stays: `take.mjs <folder> <run> stay [<go> <times>]`. */
import { existsSync } from 'node:fs';
import { setTimeout } from 'node:timers/promises';
import { deliveryPlace } from '../../dist/ledger/lease.js';
import { takeLease } from '../../dist/ledger/lease-file.js';

const [folder, run, , go, times = '1'] = process.argv.slice(2);
if (go !== undefined) {
  process.stdout.write('ready\n');
  while (!existsSync(go)) await setTimeout(2);
}
await Promise.all(
  Array.from({ length: Number(times) }, async () => {
    const taken = await takeLease({ place: deliveryPlace(folder), run });
    process.stdout.write('path' in taken ? 'taken\n' : 'refused\n');
  }),
);
setInterval(() => undefined, 1000);
