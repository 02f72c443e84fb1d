// One of several publishers of the same name: waits for the moment $4 (milliseconds since 1970), publishes, says what came of it.
import { digestOfFile } from '../../dist/files/digest.js';
import { publishFile } from '../../dist/files/publish.js';

const [staged, final, at] = process.argv.slice(2);
const checked = await digestOfFile(staged);
while (Date.now() < Number(at));
const outcome = await publishFile({ staged, final, checked, isOurs: () => false });
process.stdout.write(outcome.kind);
