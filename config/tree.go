package config

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sort"
	"strconv"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// maxBytes is the longest plan that is read. Ten thousand strings with all that
// can be said of them take a third of it.
const maxBytes = 16 << 20

// maxValues bounds the values and keys of a plan, for memory's sake: at its
// worst the YAML library needs some 300 octets for each. Ten thousand well
// described strings need half of it.
const maxValues = 1 << 20

// maxAliased is how many values the aliases of a YAML plan may add up to: a few
// nested anchors can stand for more than any memory holds.
const maxAliased = 1 << 20

// maxDepth is how deep values may be nested; a plan needs six levels.
const maxDepth = 32

type kind uint8

const (
	null kind = iota
	scalar
	list
	mapping
)

func (k kind) String() string {
	return [...]string{"nothing", "a single value", "a list", "a mapping"}[k]
}

// node is one value of a plan, in whichever notation it was written.
type node struct {
	at      Mark
	kind    kind
	text    string  // of a scalar
	items   []node  // of a list
	entries []entry // of a mapping, in the order of the file
}

type entry struct {
	key string
	at  Mark // of the key
	val node
}

// oneOrMore are the items of a list, or the node itself where one is written without
// brackets.
func (n *node) oneOrMore() []node {
	if n.kind == list {
		return n.items
	}
	return []node{*n}
}

func (n *node) find(key string) *node {
	for i := range n.entries {
		if n.entries[i].key == key {
			return &n.entries[i].val
		}
	}
	return nil
}

// tree reads the whole file into nodes; false means that a problem was noted
// and nothing was understood.
func (d *decoder) tree(data []byte) (node, bool) {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(data) > maxBytes {
		d.errorf(Mark{1, 1}, "split the display into several plans", "the plan is longer than %d MiB", maxBytes>>20)
		return node{}, false
	}
	if i := firstBadByte(data); i >= 0 {
		d.errorf(markAt(data, i), "save the plan as UTF-8 text", "byte 0x%02x is not UTF-8 text", data[i])
		return node{}, false
	}
	if separators(data) > maxValues {
		d.errorf(Mark{1, 1}, "split the display into several plans", "the plan has more than %d values", maxValues)
		return node{}, false
	}
	if t := bytes.TrimLeft(data, " \t\r\n"); len(t) > 0 && t[0] == '{' {
		return d.jsonTree(data)
	}
	return d.yamlTree(data)
}

func (d *decoder) tooDeep(at Mark) {
	d.errorf(at, "nest them less: a plan needs six levels", "values are nested more than %d deep", maxDepth)
}

// separators counts what stands before values and keys, before anything is made
// of them: before a value of JSON there is one of , [ and :, and of YAML one of
// these, a line's end or a dash.
func separators(data []byte) int {
	return bytes.Count(data, []byte(",")) + bytes.Count(data, []byte("[")) + bytes.Count(data, []byte("\n")) +
		bytes.Count(data, []byte("- ")) + bytes.Count(data, []byte(":"))
}

// firstBadByte returns the offset of the first byte that is not UTF-8 or is a
// control character, or -1.
func firstBadByte(data []byte) int {
	for i := 0; i < len(data); {
		if c := data[i]; c < utf8.RuneSelf {
			if (c < ' ' && c != '\t' && c != '\n' && c != '\r') || c == 0x7f {
				return i
			}
			i++
			continue
		}
		r, size := utf8.DecodeRune(data[i:])
		if r == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

// markAt turns an offset into a place.
func markAt(data []byte, offset int) Mark {
	before := data[:min(offset, len(data))]
	start := bytes.LastIndexByte(before, '\n') + 1
	return Mark{int32(bytes.Count(before, []byte("\n")) + 1), int32(utf8.RuneCount(before[start:]) + 1)}
}

func (d *decoder) yamlTree(data []byte) (node, bool) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	switch err := dec.Decode(&doc); {
	case errors.Is(err, io.EOF):
		d.errorf(Mark{1, 1}, "a plan needs at least one string", "the plan is empty")
		return node{}, false
	case err != nil:
		d.yamlError(data, err)
		return node{}, false
	}
	if err := dec.Decode(&second); err == nil {
		d.errorf(Mark{int32(second.Line), int32(second.Column)}, "keep one plan in one file", "a second document begins here")
	} else if !errors.Is(err, io.EOF) {
		d.yamlError(data, err)
	}
	c := yamlConverter{d: d}
	return c.convert(doc.Content[0], 0, false), !c.stopped
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)

// yamlError notes a syntax error. The library names at best the line where the
// spoilt value begins, so the place is looked for: first the shortest run of
// whole lines that has the same error, then the shortest part of its last line.
func (d *decoder) yamlError(data []byte, err error) {
	const most = 256 << 10 // looking reads the text some twenty times
	at := Mark{1, 1}
	text := err.Error()
	m := yamlLine.FindStringSubmatch(text)
	switch {
	case len(data) <= most:
		fails := func(n int) bool {
			dec := yaml.NewDecoder(bytes.NewReader(data[:n]))
			for {
				var doc yaml.Node
				if e := dec.Decode(&doc); e != nil {
					return e.Error() == err.Error()
				}
			}
		}
		ends := []int{0}
		for line := range bytes.Lines(data) {
			ends = append(ends, ends[len(ends)-1]+len(line))
		}
		line := max(sort.Search(len(ends)-1, func(i int) bool { return fails(ends[i]) }), 1)
		from := ends[line-1]
		at = markAt(data, from+max(sort.Search(ends[line]-from, func(n int) bool { return fails(from + n) })-1, 0))
	case m != nil:
		if line, err := strconv.ParseInt(m[1], 10, 32); err == nil && line > 0 {
			at.Line = int32(line)
		}
	}
	if m != nil {
		text = text[len(m[0]):]
	}
	lines := bytes.Split(data, []byte("\n"))
	if i := int(at.Line) - 1; i < len(lines) && bytes.HasPrefix(bytes.TrimLeft(lines[i], " "), []byte("\t")) {
		d.errorf(at, "indent with blanks", "this line is indented with a tab, which YAML does not allow")
		return
	}
	d.errorf(at, "look here and at the line before: indentation, a missing quote or bracket", "this is not YAML: %s", text)
}

type yamlConverter struct {
	d       *decoder
	aliased int
	stopped bool
}

func (c *yamlConverter) convert(y *yaml.Node, depth int, aliased bool) node {
	n := node{at: Mark{int32(y.Line), int32(y.Column)}}
	if c.stopped {
		return n
	}
	if aliased {
		c.aliased++
	}
	switch {
	case c.aliased > maxAliased:
		c.stopped = true
		c.d.errorf(n.at, "write the values out", "the aliases stand for more than %d values", maxAliased)
		return n
	case depth > maxDepth:
		c.stopped = true
		c.d.tooDeep(n.at)
		return n
	}
	switch y.Kind {
	case yaml.AliasNode:
		// What is wrong with it is wrong here; the anchor may serve elsewhere.
		at := n.at
		n = c.convert(y.Alias, depth+1, true)
		n.at = at
	case yaml.ScalarNode:
		if y.Tag != "!!null" {
			n.kind, n.text = scalar, y.Value
		}
	case yaml.SequenceNode:
		n.kind, n.items = list, make([]node, len(y.Content))
		for i, item := range y.Content {
			n.items[i] = c.convert(item, depth+1, aliased)
		}
	case yaml.MappingNode:
		n.kind, n.entries = mapping, make([]entry, 0, len(y.Content)/2)
		var merged []node
		for i := 0; i+1 < len(y.Content); i += 2 {
			key, val := y.Content[i], c.convert(y.Content[i+1], depth+1, aliased)
			at := Mark{int32(key.Line), int32(key.Column)}
			switch {
			case key.Tag == "!!merge":
				merged = append(merged, val)
				continue
			case key.Kind != yaml.ScalarNode:
				c.d.errorf(at, "write a word", "a key must be a word")
				continue
			}
			if val.kind == null {
				val.at = at
			}
			c.d.add(&n, entry{key.Value, at, val})
		}
		for _, m := range merged {
			c.merge(&n, m)
		}
	}
	return n
}

// merge adds what a merge key (<<) brings and the mapping does not say itself.
func (c *yamlConverter) merge(n *node, from node) {
	switch from.kind {
	case mapping:
		for _, e := range from.entries {
			if len(n.entries) >= manyKeys || n.find(e.key) == nil {
				e.at, e.val.at = from.at, from.at
				n.entries = append(n.entries, e)
			}
		}
	case list:
		for _, item := range from.items {
			if item.kind == list {
				item.kind = null // the library's depth is bounded, lists of lists are no part of YAML's merging
			}
			c.merge(n, item)
		}
	default:
		c.d.errorf(from.at, "name an anchor that stands on a mapping", "what is merged here is %s", from.kind)
	}
}

// manyKeys is more than any mapping of a plan has. One with more is refused for
// its unknown keys, and not searched for doubles as well, which would take long.
const manyKeys = 200

// add appends an entry to a mapping unless its key is there.
func (d *decoder) add(n *node, e entry) {
	if len(n.entries) < manyKeys && n.find(e.key) != nil {
		d.errorf(e.at, "remove one of the two", "%q is given twice", clip(e.key))
		return
	}
	n.entries = append(n.entries, e)
}

// clip shortens text for a message.
func clip(s string) string {
	const most = 60
	if len(s) <= most {
		return s
	}
	cut := most
	for cut > 0 && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return fmt.Sprintf("%s...", s[:cut])
}
