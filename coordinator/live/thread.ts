/** The thread that shows a run on a page. It reads what the run writes; nothing of the run waits for it. */
import { parentPort, workerData } from 'node:worker_threads';
import { codeOf } from '../../files/error-code.ts';
import { type PageSetup, servePage } from './serve.ts';
import type { FromPageThread, ToPageThread } from './thread-words.ts';

if (parentPort !== null) {
  const port = parentPort;
  const tell = (message: FromPageThread): void => port.postMessage(message);
  try {
    const page = await servePage(workerData as PageSetup);
    port.on('message', (message: ToPageThread) => {
      if (message === 'end') void page.end().finally(() => port.close());
    });
    tell({ kind: 'served', addresses: page.addresses });
  } catch (error) {
    tell({ kind: 'refused', why: codeOf(error) || String(error) });
    port.close();
  }
}
