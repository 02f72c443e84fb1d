/** What a run and the thread of its live page say to each other. */
export type FromPageThread =
  | { readonly kind: 'served'; readonly addresses: readonly string[] }
  | { readonly kind: 'refused'; readonly why: string };
/** `end`: the run is over. */
export type ToPageThread = 'end';
