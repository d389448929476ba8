package config

// Segment is the part of a string that lies in one universe.
type Segment struct {
	Universe     int `json:"universe"`
	FirstChannel int `json:"first_channel"` // 1-512
	Channels     int `json:"channels"`
	FirstPixel   int `json:"first_pixel"` // lit pixel from 1; with continuous packing it may have begun in the universe before
	Pixels       int `json:"pixels"`      // pixels that begin here
}
