package patterns

var Layouts = layouts
