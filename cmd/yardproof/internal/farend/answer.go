package farend

import (
	"time"
)

// Answer is what listen has to say; its JSON keys are a contract.
type Answer struct {
	Interface   string           `json:"interface"`
	Seconds     float64          `json:"seconds"`
	Joined      int              `json:"joined"`
	Sources     []Source         `json:"sources"`
	Conflicts   []Conflict       `json:"conflicts"`
	Malformed   uint64           `json:"malformed"`
	Reasons     map[string]int64 `json:"malformed_reasons"`
	Missing     []Missing        `json:"missing"`
	Discovered  []Discovered     `json:"discovered"`
	LocalDrops  *uint64          `json:"local_drops"`  // null: the kernel does not tell
	Findings    []string         `json:"findings"`     // what is wrong; none: no fault was found
	NotMeasured []uint16         `json:"not_measured"` // universes of the plan that cannot be heard here
	Notes       []string         `json:"notes"`        // what else is worth knowing
}

// Source is one sender.
type Source struct {
	CID       string   `json:"cid"`
	Name      string   `json:"name"`
	Address   string   `json:"address"`
	Universes []Stream `json:"universes"`
}

// Stream is one universe of a source.
type Stream struct {
	Universe      uint16  `json:"universe"`
	Priority      uint8   `json:"priority"`
	Packets       uint64  `json:"packets"`
	Lost          uint64  `json:"lost"`
	LostLocal     uint64  `json:"lost_maybe_local"`
	OutOfOrder    uint64  `json:"out_of_order"`
	Duplicates    uint64  `json:"duplicates"`
	LossPercent   float64 `json:"loss_percent"`
	RateHz        float64 `json:"rate_hz"`
	JitterMS      float64 `json:"jitter_ms"`
	LongestGapMS  float64 `json:"longest_gap_ms"`
	Outages       uint32  `json:"outages"`
	OutageSeconds float64 `json:"outage_seconds"`
	Restarts      uint64  `json:"restarts"`
	Preview       bool    `json:"preview"`
	Terminated    bool    `json:"terminated"`
	Live          bool    `json:"live"`
	SyncAddress   uint16  `json:"sync_address"`
	Synchronised  bool    `json:"synchronised"`

	rateNow float64
	silent  time.Duration
}

// Conflict is a universe that several sources send.
type Conflict struct {
	Universe  uint16   `json:"universe"`
	Sources   []string `json:"sources"`   // CIDs
	Addresses []string `json:"addresses"` // of the same sources
	Winner    *string  `json:"winner"`    // CID; null: a tie
	Active    bool     `json:"active"`
	SameCID   bool     `json:"same_cid"` // two senders use one CID

	says string
}

// Missing is a universe that was joined and not heard.
type Missing struct {
	Universe uint16   `json:"universe"`
	Strings  []string `json:"strings"`
}

// Discovered is what a source announces.
type Discovered struct {
	CID       string   `json:"cid"`
	Name      string   `json:"name"`
	Universes []uint16 `json:"universes"`
}

func milliseconds(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
