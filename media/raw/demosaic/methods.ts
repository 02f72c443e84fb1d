export const demosaicMethods = ['linear', 'fine'] as const;
/** linear: Malvar, He, Cutler 2004. fine: directional, slower and better. */
export type DemosaicMethod = (typeof demosaicMethods)[number];
