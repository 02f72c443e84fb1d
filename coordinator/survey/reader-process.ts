/** The program of the process in which clips' headers are read (reader.ts). */
import { FileDamage } from '../../files/bytes.ts';
import { readersHere } from '../../media/raw/clip-readers.ts';
import { DngRefusal } from '../../media/formats/dng/refusal.ts';
import { serveOrders } from '../../process/helper.ts';
import type { ReaderOrder, ReaderResult } from './reader.ts';

serveOrders<ReaderOrder, ReaderResult>(async (order, onFrame) => {
  switch (order.read) {
    case 'form':
      return await readersHere.form(order.path, {});
    case 'stills':
      return await readersHere.stills(order.rollFolder, order.place, { onFrame });
    case 'raw':
      return await readersHere.raw(order.rollFolder, order.place, { onFrame });
    case 'decode':
      try {
        await readersHere.decode(order.path, {});
        return { damage: null };
      } catch (error) {
        // A kind of error does not come over to the other process: damage is an answer.
        if (!(error instanceof FileDamage) && !(error instanceof DngRefusal)) throw error;
        return { damage: error.message };
      }
  }
});
