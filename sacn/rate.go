package sacn

// MaxRate returns how often E1.11 lets a packet of so many slots be refreshed,
// in frames a second: 44.1 for 512. E1.31 clause 6.6.1 makes it a limit unless
// the user decides otherwise. The times are those of E1.11: break 92 us, mark
// 12 us, 44 us a slot and for the START code, 1204 us from break to break (from
// memory, unchecked).
func MaxRate(slots int) float64 {
	return 1e6 / max(1204, 92+12+44*float64(1+slots))
}
