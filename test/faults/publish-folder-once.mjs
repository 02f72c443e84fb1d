// One publisher of the folder $1 under the name $2, from the moment $3 on (milliseconds since 1970); $4: XXH128 of an older folder of ours, or none.
// $5: dies by SIGKILL right before its move of this number, counted from 1; a half: in the middle of it. Says what came of it.
import { readdirSync, rmSync } from 'node:fs';
import { rename, rm } from 'node:fs/promises';
import { join } from 'node:path';
import { digestOfFolder } from '../../dist/files/folder-digest.js';
import { publishFolder } from '../../dist/files/publish-folder.js';

const [staged, final, at, older, dies = 'never'] = process.argv.slice(2);
const checked = await digestOfFolder(staged);
while (Date.now() < Number(at));
let moves = 0;
function die(number) {
  if (number === Number(dies)) process.kill(process.pid, 'SIGKILL');
}
const outcome = await publishFolder(
  { staged, final, checked, isOurs: (digest) => digest === older },
  {
    rename: async (from, to) => {
      die((moves += 1));
      await rename(from, to);
    },
    remove: async (folder) => {
      die((moves += 1));
      if (Number(dies) === moves + 0.5) {
        rmSync(join(folder, readdirSync(folder)[0]));
        die(moves + 0.5);
      }
      await rm(folder, { recursive: true });
    },
  },
);
die(moves + 1);
process.stdout.write(outcome.kind);
