/** As a worker of another machine or container: `owner.mjs make <folder>` makes an unfinished file and stays; `owner.mjs look <folder>` tells which it would sweep. */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { newToken } from '../../dist/ledger/owner.js';
import { leftovers } from '../../dist/worker/target.js';

const [what, folder] = process.argv.slice(2);
if (what === 'make') {
  const name = `.rushlight-part-${newToken()}.mov`;
  writeFileSync(join(folder, name), 'frames');
  process.stdout.write(`${name}\n`);
  setInterval(() => undefined, 1000);
} else process.stdout.write(`${JSON.stringify(await leftovers(folder))}\n`);
