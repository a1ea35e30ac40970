// The worker that builds the tree, so that the page never stops for it.
import { build } from "./tree.js";

onmessage = ({ data }) => {
  const tree = build(data.position, data.index);
  postMessage(tree, [tree.box.buffer, tree.link.buffer, tree.order.buffer]);
};
