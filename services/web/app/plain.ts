// The script of pages that show nothing live.
import { shell } from "./lib/shell";
import "./plain.css";

shell();
