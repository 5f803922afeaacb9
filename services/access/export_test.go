package access

// Check reads an access file.
func Check(path string) error {
	_, err := readRoll(path, newSources())
	return err
}
