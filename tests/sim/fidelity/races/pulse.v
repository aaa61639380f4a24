// A bit that clears itself at once, and a bit that counts how often it was set.
module pulse (input clk, output reg seen);
  reg flash;
  initial {flash, seen} = 0;
  always @(posedge clk or posedge flash)
    if (flash) flash <= 0;
    else flash <= 1;
  always @(posedge flash) seen <= ~seen;
endmodule
