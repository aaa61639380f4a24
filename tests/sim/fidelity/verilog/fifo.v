// A queue of sixteen bytes with full and empty.
module fifo (input clk, rst, put, get, input [7:0] d, output [7:0] q, output full, empty, output [4:0] level);
  reg [7:0] store [0:15];
  reg [4:0] head = 0, tail = 0;
  integer i;
  initial for (i = 0; i < 16; i = i + 1) store[i] = 8'h11 * i;
  assign level = head - tail;
  assign empty = head == tail;
  assign full = level == 16;
  assign q = store[tail[3:0]];
  always @(posedge clk)
    if (rst) begin
      head <= 0;
      tail <= 0;
    end else begin
      if (put && !full) begin
        store[head[3:0]] <= d;
        head <= head + 1;
      end
      if (get && !empty) tail <= tail + 1;
    end
endmodule
