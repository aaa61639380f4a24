// A memory with two write ports on one clock (the second wins) and two read ports, one of them registered.
module two_ports (input clk, wa, wb, input [3:0] a, b, input [8:0] da, db, output [8:0] qa, output reg [8:0] qb);
  reg [8:0] store [0:15];
  integer i;
  initial begin
    qb = 0;
    for (i = 0; i < 16; i = i + 1) store[i] = i * i;
  end
  assign qa = store[a];
  always @(posedge clk) begin
    if (wa) store[a] <= da;
    if (wb) store[b] <= db;
    qb <= store[b];
  end
endmodule
