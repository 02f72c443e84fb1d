export const highlightPolicies = ['keep', 'neutral'] as const;
/** Where one channel of the sensor is full and another is not. keep: values as the sensor held them. neutral: led to grey. */
export type HighlightPolicy = (typeof highlightPolicies)[number];
