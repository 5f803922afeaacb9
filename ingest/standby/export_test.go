package standby

// OnWay is how many entries of a source are held as on their way to disk.
func (j *Journal) OnWay(berth, source string) int {
	j.mu.Lock()
	defer j.mu.Unlock()
	return len(j.source(key(berth, source)).way)
}
