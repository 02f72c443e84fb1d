export const demosaicMethods = ['linear', 'fine', 'half'] as const;
/** linear: Malvar, He, Cutler 2004. fine: directional, slower and better. half: one pixel for each 2 x 2 of the mosaic. */
export type DemosaicMethod = (typeof demosaicMethods)[number];
