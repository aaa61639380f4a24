// Set-reset latches and an edge-triggered flip-flop made of gates alone: loops that come to rest.
module cross_coupled (input s_n, r_n, clk, d, rst_n, output q, q_n, output ff, ff_n);
  nand (q, s_n, q_n);
  nand (q_n, r_n, q);
  // The six-gate flip-flop with its clear.
  wire w1, w2, w3, w4;
  nand (w1, w4, w2);
  nand (w2, w1, clk, rst_n);
  nand (w3, w2, clk, w4);
  nand (w4, w3, d, rst_n);
  nand (ff, w2, ff_n);
  nand (ff_n, w3, ff, rst_n);
endmodule
