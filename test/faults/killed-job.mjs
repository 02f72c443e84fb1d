// Runs the job of the file $1 from the compiled tree and dies by SIGKILL when it is asked for the $2nd time whether the job is still its own.
import { readFileSync } from 'node:fs';
import { toolchainOf } from '../../dist/ledger/toolchain.js';
import { locateTools } from '../../dist/process/locate.js';
import { runJob } from '../../dist/worker/job.js';

const [path, at] = process.argv.slice(2);
const tools = await locateTools();
let asked = 0;
await runJob(JSON.parse(readFileSync(path, 'utf8')), {
  tools,
  toolchain: toolchainOf(tools),
  threads: 1,
  stallMilliseconds: 60_000,
  signal: new AbortController().signal,
  attempt: 1,
  lastAttempt: true,
  onProgress: () => undefined,
  fence: async () => {
    asked += 1;
    if (asked === Number(at)) process.kill(process.pid, 'SIGKILL');
  },
});
