package match

// pull is what a neighbour does to what is read over a line of the given depth,
// per unit of relative current k, to first order in k, from the fields of two long
// line currents: how far it moves the peak, by how much it parts the null from the
// peak, and which share of itself it adds to the ratio of the signals of two coils,
// the upper one coils higher. The neighbour lies at a distance, deep below grade.
// Metres all.
//
// The horizontal field of a current k at (distance, deep) adds to that of 1 at
// (0, depth) a slope where the peak is, whose own falls off with 2/depth^3; its
// vertical field moves the null, where the slope is 1/depth^2:
//
//	peak = depth^3 deep distance / (distance^2 + deep^2)^2
//	null = depth^2 distance / (distance^2 + deep^2)
//
// So a separation is no measure of what the peak is off by: where
// distance^2 + deep^2 = depth deep, null and peak move alike and nothing shows.
func pull(distance, depth, deep, coils float64) (peak, apart, ratio float64) {
	s := distance*distance + deep*deep
	null := depth * depth * distance / s
	peak = null * depth * deep / s
	upper := (depth + coils) * (deep + coils) / (distance*distance + (deep+coils)*(deep+coils))
	return peak, null - peak, upper - depth*deep/s
}
