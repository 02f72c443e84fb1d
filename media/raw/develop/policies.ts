export const highlightPolicies = ['by-channel', 'neutral', 'keep'] as const;
/**
 * What becomes of a pixel of which some channel of the sensor is full. by-channel: each full channel is raised towards grey, the others stay.
 * neutral: all are raised to grey as soon as one is full. keep: values as the sensor held them, for whoever reconstructs them.
 */
export type HighlightPolicy = (typeof highlightPolicies)[number];
