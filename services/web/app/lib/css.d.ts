// Style sheets are imported for their effect: the bundle takes them along.
declare module "*.css";
