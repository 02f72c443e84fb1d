/** What options are when nobody gives them; help texts say them from here. */

/** Files read in parallel. */
export const DEFAULT_READERS = 4;
/** An encoder without progress for so long is killed and its job tried again. */
export const DEFAULT_STALL_SECONDS = 120;
/** How long a delivery, queue or farm that does not answer is waited for. */
export const DEFAULT_PATIENCE_SECONDS = 600;
/** Where `demo` makes its shoot day. */
export const DEFAULT_DEMO_FOLDER = 'demo';
/** Where a live page is served: this machine alone can open it. */
export const DEFAULT_PAGE_ADDRESS = '127.0.0.1:4650';
