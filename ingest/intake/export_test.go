package intake

// Limits are those of a server.
type Limits = limits

// Limit sets limits; what is 0 stays as it is.
func (o *Options) Limit(l Limits) { o.limits = l }
